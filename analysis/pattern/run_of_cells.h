// A group of cells that is still growing, for ExposureBuilder.
#pragma once
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

#include "roundel/pattern/exposure.h"

namespace roundel::pattern {

inline constexpr double reference_slant_km = 200;
inline constexpr double spreading_step_db = 0.5;

struct Run {
  bool open = false;
  double slant_from_km{}, slant_to_km{};  // of its bin of spreading, (from, to]
  std::int64_t elevation_bin{};
  Group group;
  double first_slant_km{}, slant_product{};  // of each cell over the first: see mean_spreading_db
  double elevation_sum{}, bearing_sum{}, ratio_sum{}, aspect_sum{};
};

inline double spreading_db(double slant_km) {
  return -20 * std::log10(slant_km / reference_slant_km);
}

// Slants at which bins of spreading end, from the lowest: as many powers for each run would cost
// what runs save.
class BinEnds {
 public:
  BinEnds() {
    for (std::size_t i = 0; i < slant_km_.size(); ++i)
      slant_km_[i] = reference_slant_km *
                     std::pow(10, (static_cast<double>(i) + lowest) * spreading_step_db / -20);
  }
  void set(Run& run, double slant_km) const {
    const double bin = std::floor(spreading_db(slant_km) / spreading_step_db);
    const auto at = static_cast<std::size_t>(std::clamp<double>(bin, lowest, highest) - lowest);
    run.slant_from_km = slant_km_[at + 1];
    run.slant_to_km = slant_km_[at];
  }

 private:
  static constexpr int lowest = -80, highest = 140;  // 20 000 km and 60 m
  std::array<double, highest - lowest + 2> slant_km_;
};

// The mean of logarithms is that of the product: one for a run instead of one for each cell. A
// bin's slants differ by 6 %, so that of 200 cells stays far within a double's range.
inline double mean_spreading_db(const Run& run) {
  return spreading_db(run.first_slant_km) - 20 * std::log10(run.slant_product) / run.group.cells;
}

}  // namespace roundel::pattern
