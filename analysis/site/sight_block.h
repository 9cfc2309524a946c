// Sightlines of a block of points at once. Private to site/.
#pragma once
#include <array>
#include <cstddef>

#include "analysis/site/curvature.h"

namespace roundel::site {

/// Points by their place on the grid's plane, and what is found of them. Plain arrays of fixed
/// length, so that the compiler goes through them by two or four.
struct SightBlock {
  static constexpr std::size_t size = 64;
  using Numbers = std::array<double, size>;

  Numbers east_km, north_km, height_m;                     // given
  Numbers range_km, bearing_deg, slant_km, elevation_deg;  // found
};

/// The formulas of Viewpoint::sight() to the last digit, for ranges from 1 km to a series' end:
/// angles at the Earth's centre below 2 series_rad.
void sight(SightBlock& block, const Curvature& curvature, double k, double antenna_m) noexcept;

}  // namespace roundel::site
