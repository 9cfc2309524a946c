#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "roundel/site/link.h"

namespace roundel::site {
namespace {

constexpr double wavelength_m = 299.792458 / carrier_mhz;
constexpr double pi = std::numbers::pi;

double square(double x) { return x * x; }

/// Radius of the Earth, km, over which straight rays have that horizon.
double effective_radius_km(const Path& path) {
  return 500 * square(path.horizon_km / (std::sqrt(path.h1_m) + std::sqrt(path.h2_m)));
}

/// P.526 (distance term).
double distance_db(double x) {
  if (x >= 1.6) return 11 + 10 * std::log10(x) - 17.6 * x;
  return -20 * std::log10(x) - 5.6488 * std::pow(x, 1.425);
}

/// P.526 (height gain), over average land or sea: beta = 1, no floor needed above 0.1 m.
double height_db(double y) {
  if (y > 2) return 17.6 * std::sqrt(y - 1.1) - 5 * std::log10(y - 1.1) - 8;
  return 20 * std::log10(y + 0.1 * y * y * y);
}

/// First term of the residue series, dB of loss over free space.
double residue_db(const Path& path, double range_km, double effective_km) {
  const double f = carrier_mhz;
  const double x = 2.188 * std::cbrt(f) * std::pow(effective_km, -2.0 / 3) * range_km;
  const double per_m = 9.575e-3 * std::pow(f, 2.0 / 3) / std::cbrt(effective_km);
  return -(distance_db(x) + height_db(per_m * path.h1_m) + height_db(per_m * path.h2_m));
}

/// Where the path passes lowest over the curved ground, P.526 section 3.2.
struct Clearance {
  double height_m, required_m;
};

Clearance clearance(const Path& path, double range_km, double effective_km) {
  const double d = 1000 * range_km;
  const double a = 1000 * effective_km;
  const double sum = path.h1_m + path.h2_m;
  const double c = (path.h1_m - path.h2_m) / sum;
  const double m = d * d / (4 * a * sum);
  const double cosine = std::clamp(1.5 * c * std::sqrt(3 * m / std::pow(m + 1, 3)), -1.0, 1.0);
  const double b = 2 * std::sqrt((m + 1) / (3 * m)) * std::cos(pi / 3 + std::acos(cosine) / 3);
  const double d1 = d / 2 * (1 + b);
  const double d2 = d - d1;
  const double height =
      ((path.h1_m - d1 * d1 / 2 / a) * d2 + (path.h2_m - d2 * d2 / 2 / a) * d1) / d;
  return {height, 0.552 * std::sqrt(std::max(0.0, d1 * d2 * wavelength_m / d))};
}

double diffraction_db(const Path& path, double range_km, double effective_km) {
  if (range_km >= path.horizon_km) return residue_db(path, range_km, effective_km);
  const auto [height_m, required_m] = clearance(path, range_km, effective_km);
  if (height_m >= required_m) return 0;
  const double grazing_km = 500 * square(range_km / (std::sqrt(path.h1_m) + std::sqrt(path.h2_m)));
  const double loss_db = residue_db(path, range_km, grazing_km);
  return std::max(0.0, (1 - height_m / required_m) * loss_db);
}

double air_db(const Path& path, double range_km, double slant_km, double effective_km) {
  constexpr int steps = 16;
  double sum = 0;
  for (int i = 0; i < steps; ++i) {
    const double x = (i + 0.5) / steps;
    const double height_km = (path.h1_m + (path.h2_m - path.h1_m) * x) / 1000 -
                             x * (1 - x) * range_km * range_km / (2 * effective_km);
    sum += std::exp(-std::max(0.0, height_km) / 6);
  }
  return 0.006 * slant_km * sum / steps;
}

/// P.617-1 with the interference of direct and reflected ray at each low terminal: on average over
/// scatter angles from t on, 2 sin^2(x) with x = 2 pi h t / lambda, saturating at its mean of one.
double scatter_db(const Path& path, double range_km, double effective_km) {
  // A floor of 0.7 mrad: at the horizon itself the angle formula loses its sense.
  const double angle = std::hypot((range_km - path.horizon_km) / effective_km, 0.7e-3);
  double loss_db = 29.73 + 30 * std::log10(carrier_mhz) + 10 * std::log10(range_km) +
                   30 * std::log10(1000 * angle) + 20 * std::log10(5 + 0.27 * angle * range_km / 4);
  for (const double height_m : {path.h1_m, path.h2_m}) {
    const double x2 = square(2 * pi * height_m * angle / wavelength_m);
    loss_db -= 10 * std::log10(2 * x2 / (1 + 2 * x2));
  }
  return loss_db;
}

double slant_km_of(const Path& path, double range_km, double effective_km) {
  const double r1 = effective_km + path.h1_m / 1000;
  const double r2 = effective_km + path.h2_m / 1000;
  return std::sqrt(square(r2 - r1) + 4 * r1 * r2 * square(std::sin(range_km / effective_km / 2)));
}

}  // namespace

double median_loss_db(const Path& path, double range_km) noexcept {
  const double effective_km = effective_radius_km(path);
  const double slant_km = std::max(0.01, slant_km_of(path, range_km, effective_km));
  const double free_db = 32.45 + 20 * std::log10(carrier_mhz) + 20 * std::log10(slant_km);
  if (range_km < 0.1) return free_db;
  const double ratio = range_km / path.horizon_km;
  const double excess_db = std::max(
      {diffraction_db(path, range_km, effective_km), 13.5 * (std::min(ratio, 1.0) - 0.57), 0.0});
  const double loss_db = free_db + air_db(path, range_km, slant_km, effective_km) + excess_db;
  if (ratio <= 1) return loss_db;
  const double by_scatter_db = scatter_db(path, range_km, effective_km);
  // Powers add.
  return -10 * std::log10(std::pow(10, -loss_db / 10) + std::pow(10, -by_scatter_db / 10));
}

double two_ray_gain_db(const Path& path, double range_km, double roughness_m) noexcept {
  if (range_km < 0.1 || range_km >= path.horizon_km) return 0;
  const double effective_km = effective_radius_km(path);
  const auto room = clearance(path, range_km, effective_km);
  if (room.height_m < room.required_m) return 0;
  const double d = 1000 * range_km;
  const double a = 1000 * effective_km;
  // Equal angles at the reflection point, heights counted from its tangent plane.
  double low = 0;
  double high = d;
  for (int i = 0; i < 60; ++i) {
    const double d1 = (low + high) / 2;
    const double d2 = d - d1;
    const bool is_too_near =
        (path.h1_m - d1 * d1 / 2 / a) / d1 > (path.h2_m - d2 * d2 / 2 / a) / d2;
    (is_too_near ? low : high) = d1;
  }
  const double d1 = (low + high) / 2;
  const double h1 = path.h1_m - d1 * d1 / 2 / a;
  const double h2 = path.h2_m - square(d - d1) / 2 / a;
  const double sine = (h1 + h2) / std::hypot(d, h1 + h2);
  const double further_m = 4 * h1 * h2 / (std::hypot(d, h1 + h2) + std::hypot(d, h2 - h1));
  const std::complex<double> permittivity(70, -60 * 5 * wavelength_m);
  const auto root = std::sqrt(permittivity - (1 - sine * sine));
  const auto reflected = (permittivity * sine - root) / (permittivity * sine + root) *
                         std::exp(-2 * square(2 * pi * roughness_m * sine / wavelength_m));
  const auto sum = 1.0 + reflected * std::polar(1.0, -2 * pi * further_m / wavelength_m);
  return 20 * std::log10(std::max(std::abs(sum), 1e-3));
}

}  // namespace roundel::site
