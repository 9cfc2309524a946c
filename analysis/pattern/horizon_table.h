// A horizon looked up instead of computed: for millions of cells.
#pragma once
#include <vector>

#include "roundel/site/limit.h"

namespace roundel::pattern {

/// limit_km() of a smooth-earth horizon. Tracing a ray costs some microseconds; altitudes are
/// stored in steps of 25 ft, so a few thousand tell all. Over bearings the horizon changes with the
/// ellipsoid's curvature only, by 0.2 %: a straight line between nodes 5 degrees apart is within
/// 3 m. Filled as asked for. The limit must outlive it, and must not have a mask or terrain in it.
class HorizonTable {
 public:
  explicit HorizonTable(const site::Limit& limit) : limit_(limit) {}

  double at(double bearing_deg, double altitude_ft) {
    const double step = altitude_ft / step_ft;
    // Off the steps, or where nobody flies.
    if (!(step >= lowest && step < highest) || step != static_cast<int>(step))
      return limit_.limit_km(bearing_deg, altitude_ft);
    const double place = bearing_deg / node_deg;
    const int node = static_cast<int>(place);
    const double part = place - node;
    const int row = (static_cast<int>(step) - lowest) * n_nodes;
    const double here = value(row, node, altitude_ft);
    return here + part * (value(row, node + 1, altitude_ft) - here);
  }

 private:
  static constexpr double step_ft = 25, node_deg = 5;
  static constexpr int lowest = -60, highest = 2400, n_nodes = 73;  // 360 degrees has its own

  double value(int row, int node, double altitude_ft) {
    float& known = known_[static_cast<std::size_t>(row + node)];
    if (known < 0) known = static_cast<float>(limit_.limit_km(node % 72 * node_deg, altitude_ft));
    return known;
  }

  const site::Limit& limit_;
  std::vector<float> known_ = std::vector<float>(std::size_t{(highest - lowest) * n_nodes}, -1.0F);
};

}  // namespace roundel::pattern
