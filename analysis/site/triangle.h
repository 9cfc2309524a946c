// The plane triangle of antenna, aircraft and the Earth's centre.
#pragma once
#include <cmath>

#include "analysis/site/arctangent.h"

namespace roundel::site {

struct Upright {
  double slant_km;
  double elevation_deg;
};

struct SineCosine {
  double sine, cosine;
};

/// By the series: to the last digit or two for angles from 0 up to series_rad, which is 1360 km
/// over 4/3 Earth.
inline constexpr double series_rad = 0.08;
inline SineCosine sine_cosine_series(double x) noexcept {
  const double q = x * x;
  return {
      x * (1 - q * (1.0 / 6) *
                   (1 - q * (1.0 / 20) *
                            (1 - q * (1.0 / 42) * (1 - q * (1.0 / 72) * (1 - q * (1.0 / 110)))))),
      1 - q * (1.0 / 2) *
              (1 - q * (1.0 / 12) *
                       (1 - q * (1.0 / 30) * (1 - q * (1.0 / 56) * (1 - q * (1.0 / 90)))))};
}

/// Of angles that aircraft in view have, which are small, at less than a third of the cost. Others
/// as usual.
inline SineCosine sine_cosine(double x) noexcept {
  if (!(x >= 0 && x < series_rad)) return {std::sin(x), std::cos(x)};
  return sine_cosine_series(x);
}

/// What solve() does once half the angle at the Earth's centre has its sine and cosine.
inline Upright solve_from(const SineCosine& half, double radius_km, double antenna_m,
                          double aircraft_m) noexcept {
  const double r1 = radius_km + antenna_m / 1000;
  const double r2 = radius_km + aircraft_m / 1000;
  const double above = (aircraft_m - antenna_m) / 1000;
  const double drop = 2 * r2 * half.sine * half.sine;
  const double slant_km = std::sqrt(above * above + 2 * r1 * drop);
  const double across = 2 * r2 * half.sine * half.cosine;
  return {slant_km, elevation_of(above - drop, across)};
}

/// @param range_km   along the ground, >= 0
/// @param radius_km  of the effective Earth, > 0
/// The formulas of sightline() with cos t = 1 - 2 sin2(t/2): as they stand, r2 cos t - r1 loses
/// nine digits at short range.
inline Upright solve(double range_km, double radius_km, double antenna_m,
                     double aircraft_m) noexcept {
  return solve_from(sine_cosine(range_km / radius_km / 2), radius_km, antenna_m, aircraft_m);
}

/// An azimuth in [-180, 180] as a bearing in [0, 360).
inline double bearing_of(double azimuth_deg) noexcept {
  const double bearing_deg = azimuth_deg < 0 ? azimuth_deg + 360 : azimuth_deg;
  // A tiny negative azimuth rounds to 360; -0 becomes 0.
  return bearing_deg >= 360 || bearing_deg == 0 ? 0 : bearing_deg;
}

}  // namespace roundel::site
