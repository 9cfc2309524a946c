// A group of cells that is still growing, for HourExposer.
#pragma once
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#include "roundel/pattern/exposure.h"

namespace roundel::pattern {

inline constexpr double reference_slant_km = 200;
inline constexpr double spreading_step_db = 0.75;

struct Run {
  bool open = false;
  double slant_from_km{}, slant_to_km{};            // of its bin of spreading, (from, to]
  double elevation_from_deg{}, elevation_to_deg{};  // of its bin of elevation, [from, to)
  Group group;
  double first_slant_km{}, slant_product{};  // of each cell over the first: see mean_spreading_db
  double elevation_sum{}, bearing_sum{}, ratio_sum{}, aspect_sum{};
  int aspects{};  // cells whose course is known
};

inline double spreading_db(double slant_km) {
  return -20 * std::log10(slant_km / reference_slant_km);
}

/// A bin's number: from multiples of spreading_step_db to below the next.
inline std::int64_t spreading_bin(double spreading_db) {
  return static_cast<std::int64_t>(std::floor(spreading_db / spreading_step_db));
}

// Where bins end. Slants, from the lowest spreading: as many powers for each run would cost what
// runs save. Elevations: by a quarter of a degree up to 2 degrees, then by an eighth of themselves;
// above what tells a level or a wall (12 degrees) all is one, and near by there is much of it.
class BinEnds {
 public:
  BinEnds() {
    for (std::size_t i = 0; i < slant_km_.size(); ++i)
      slant_km_[i] = reference_slant_km *
                     std::pow(10, (static_cast<double>(i) + lowest) * spreading_step_db / -20);
    double end_deg = -10;
    while (end_deg < overhead_deg) {
      elevation_deg_.push_back(end_deg);
      end_deg += std::max(0.25, end_deg / 8);
    }
    elevation_deg_.push_back(overhead_deg);
  }
  void set(Run& run, double slant_km, double elevation_deg) const {
    const auto next = std::upper_bound(elevation_deg_.begin(), elevation_deg_.end(), elevation_deg);
    run.elevation_from_deg = next == elevation_deg_.begin() ? -90 : *(next - 1);
    run.elevation_to_deg = next == elevation_deg_.end() ? 91 : *next;
    if (next == elevation_deg_.end()) {
      run.slant_from_km = 0;
      run.slant_to_km = std::numeric_limits<double>::infinity();
      return;
    }
    const double bin = std::floor(spreading_db(slant_km) / spreading_step_db);
    const auto at = static_cast<std::size_t>(std::clamp<double>(bin, lowest, highest) - lowest);
    run.slant_from_km = slant_km_[at + 1];
    run.slant_to_km = slant_km_[at];
  }

 private:
  static constexpr int lowest = -80, highest = 140;  // 20 000 km and 60 m
  static constexpr double overhead_deg = 12;
  std::array<double, highest - lowest + 2> slant_km_;
  std::vector<double> elevation_deg_;
};

// The mean of logarithms is that of the product: one for a run instead of one for each cell. A
// bin's slants differ by 9 %, so that of 200 cells stays far within a double's range.
inline double mean_spreading_db(const Run& run) {
  return spreading_db(run.first_slant_km) - 20 * std::log10(run.slant_product) / run.group.cells;
}

}  // namespace roundel::pattern
