// Degrees and radians.
#pragma once
#include <numbers>

namespace roundel::site {

inline constexpr double rad_per_deg = std::numbers::pi / 180;

}  // namespace roundel::site
