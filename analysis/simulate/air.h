// What edges and reflecting ground on the way do to a level, dB.
#pragma once
#include "analysis/simulate/numeric.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

inline constexpr double wavelength_m = 0.2750;  // 1090 MHz

/// 20 log10(1 + e^x): 6 dB at the edge, nothing above it, growing steadily below.
inline double edge_loss_db(double x) {
  if (x < -12) return 0;
  if (x > 30) return db_per_neper * x;
  return decibels(1 + exp_of(x));
}

/// The ray reflected on the way, added to the direct one: the formula stands at Reflection.
inline double reflection_db(const Reflection& ground, double elevation_deg) {
  const double waves = sin_cos(elevation_deg * degree).sin / wavelength_m;
  const double rough = 2 * pi * ground.roughness_m * waves;
  const double r = ground.coefficient * exp_of(-2 * rough * rough);
  return decibels(1 + r * r - 2 * r * sin_cos(4 * pi * ground.height_m * waves).cos) / 2;
}

}  // namespace roundel::simulate
