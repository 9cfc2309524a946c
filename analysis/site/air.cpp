#include "analysis/site/air.h"

#include <cmath>

namespace roundel::site {
namespace {

// Rec. ITU-R P.835, mean annual global reference atmosphere (the figures of the ICAO Standard
// Atmosphere up to 20 km), and 7.5 g/m3 of vapour with a scale height of 2 km.
constexpr double geopotential_radius_km = 6356.766;
constexpr double tropopause_km = 11 * geopotential_radius_km / (geopotential_radius_km - 11);
constexpr double stratosphere_km = 20 * geopotential_radius_km / (geopotential_radius_km - 20);
constexpr std::array p835_breaks_km{tropopause_km, stratosphere_km};

struct Weather {
  double pressure_hpa, temperature_k;
  double pressure_slope, temperature_slope;  ///< per geopotential km
};

Weather weather_at(double geopotential_km) noexcept {
  constexpr double g_over_r = 34.1632;  // K per geopotential km
  if (geopotential_km <= 11) {
    const double t = 288.15 - 6.5 * geopotential_km;
    const double p = 1013.25 * std::pow(288.15 / t, -g_over_r / 6.5);
    return {p, t, -g_over_r * p / t, -6.5};
  }
  if (geopotential_km <= 20) {
    const double p = 226.3226 * std::exp(-g_over_r * (geopotential_km - 11) / 216.65);
    return {p, 216.65, -g_over_r * p / 216.65, 0};
  }
  const double t = 216.65 + (geopotential_km - 20);
  const double p = 54.74980 * std::pow(216.65 / t, g_over_r);
  return {p, t, -g_over_r * p / t, 1};
}

Air p835_at(double height_km) noexcept {
  const double denominator = geopotential_radius_km + height_km;
  const double geopotential_km = geopotential_radius_km * height_km / denominator;
  const double per_km = geopotential_radius_km * geopotential_radius_km / denominator / denominator;
  const Weather w = weather_at(geopotential_km);
  const double t = w.temperature_k;
  const double t_slope = w.temperature_slope * per_km;
  const double vapour = 7.5 * std::exp(-height_km / 2);  // g/m3
  // e = rho T / 216.7, so 72 e / T = 72 rho / 216.7 and 3.75e5 e / T^2 = 3.75e5 rho / (216.7 T).
  const double dry = 77.6 * w.pressure_hpa / t;
  const double wet = vapour / 216.7 * (72 + 3.75e5 / t);
  const double dry_slope =
      77.6 * (w.pressure_slope * per_km / t - w.pressure_hpa * t_slope / t / t);
  const double wet_slope = -wet / 2 - vapour / 216.7 * 3.75e5 * t_slope / t / t;
  return {1 + 1e-6 * (dry + wet), 1e-6 * (dry_slope + wet_slope)};
}

}  // namespace

Air air_at(const Atmosphere& atmosphere, double height_km) noexcept {
  if (atmosphere.profile == Atmosphere::Profile::p835) return p835_at(height_km);
  const double excess =
      1e-6 * atmosphere.surface_n * std::exp(-height_km / atmosphere.scale_height_km);
  return {1 + excess, -excess / atmosphere.scale_height_km};
}

std::span<const double> breaks_km(const Atmosphere& atmosphere) noexcept {
  if (atmosphere.profile == Atmosphere::Profile::p835) return p835_breaks_km;
  return {};
}

}  // namespace roundel::site
