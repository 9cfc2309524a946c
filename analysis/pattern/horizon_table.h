// A horizon looked up instead of computed: for millions of cells.
#pragma once
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "roundel/site/limit.h"

namespace roundel::pattern {

/// limit_km() of a smooth-earth horizon, within half a metre. Tracing a ray costs some
/// microseconds; altitudes are stored in steps of 25 ft, so a few thousand tell all. Over bearings
/// the horizon changes with the ellipsoid's curvature only, by up to 0.3 %, and that goes with the
/// squared cosine of the bearing: a parabola through east, north-east and north. (A straight line
/// is 4 m off at the equator.) Filled as asked for. The limit must outlive it, and must not have a
/// mask or terrain in it.
class HorizonTable {
 public:
  explicit HorizonTable(const site::Limit& limit) : limit_(limit) {
    for (std::size_t i = 0; i < north2_.size(); ++i) {
      const double cosine = std::cos(static_cast<double>(i) * (std::numbers::pi / 180));
      north2_[i] = cosine * cosine;
    }
  }

  /// @param bearing_deg  [0, 360)
  double at(double bearing_deg, double altitude_ft) {
    const double step = altitude_ft / step_ft;
    // Off the steps, or where nobody flies.
    if (!(step >= lowest && step < highest) || step != static_cast<int>(step))
      return limit_.limit_km(bearing_deg, altitude_ft);
    const auto node = static_cast<std::size_t>(bearing_deg);
    const double north2 = north2_[node] + (bearing_deg - static_cast<double>(node)) *
                                              (north2_[node + 1] - north2_[node]);
    Ends& ends = known_[static_cast<std::size_t>(static_cast<int>(step) - lowest)];
    if (ends.east_km < 0) {
      const double east_km = limit_.limit_km(90, altitude_ft);
      const double north_km = limit_.limit_km(0, altitude_ft);
      const double middle_km = limit_.limit_km(45, altitude_ft);
      ends = {east_km, north_km, 4 * middle_km - 2 * (east_km + north_km)};
    }
    return ends.east_km + north2 * (ends.north_km - ends.east_km + (1 - north2) * ends.bend_km);
  }

 private:
  static constexpr double step_ft = 25;
  static constexpr int lowest = -60, highest = 2400;

  struct Ends {
    double east_km = -1, north_km = -1, bend_km = 0;
  };

  const site::Limit& limit_;
  std::array<double, 361> north2_{};  // at whole degrees
  std::vector<Ends> known_ = std::vector<Ends>(std::size_t{highest - lowest});
};

}  // namespace roundel::pattern
