#include "roundel/site/refraction.h"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>

#include "analysis/site/air.h"
#include "analysis/site/angle.h"
#include "analysis/site/triangle.h"
#include "roundel/site/horizon.h"

namespace roundel::site {
namespace {

/// Largest radius of curvature on the ellipsoid: at the poles.
constexpr double largest_radius_km = 6399.594;

/// m = n r, and dm/dr.
struct Modified {
  double m, slope;
};

Modified modified_at(const Atmosphere& atmosphere, double radius_km, double height_km) noexcept {
  const Air air = air_at(atmosphere, height_km);
  return {air.n * (radius_km + height_km), air.n + (radius_km + height_km) * air.slope_per_km};
}

/// The height at which n r has a value, by Newton's method; n r rises nearly evenly.
double height_of(const Atmosphere& atmosphere, double radius_km, double m,
                 double guess_km) noexcept {
  double height_km = guess_km;
  for (int i = 0; i < 6; ++i) {
    const Modified at = modified_at(atmosphere, radius_km, height_km);
    const double step_km = (at.m - m) / at.slope;
    height_km -= step_km;
    if (std::abs(step_km) < 1e-9) break;
  }
  return height_km;
}

/// Ground range of the ray with invariant `c` between two values of v = sqrt(m^2 - c^2), with its
/// sign: negative before the ray's lowest point.
double ray_range_km(const Atmosphere& atmosphere, double radius_km, double c, double from_v,
                    double to_v) noexcept {
  double last_km = 0;
  const auto integrand = [&](double v) {
    const double m = std::sqrt(c * c + v * v);
    last_km = height_of(atmosphere, radius_km, m, last_km);
    const Modified at = modified_at(atmosphere, radius_km, last_km);
    return c / ((radius_km + last_km) * m * at.slope);
  };
  double sum = 0;
  double from = from_v;
  for (const double break_km : breaks_km(atmosphere)) {
    const double m = modified_at(atmosphere, radius_km, break_km).m;
    if (m <= c) continue;
    const double v = std::sqrt((m - c) * (m + c));
    if (v <= from || v >= to_v) continue;
    sum += boost::math::quadrature::gauss<double, 20>::integrate(integrand, from, v);
    from = v;
  }
  sum += boost::math::quadrature::gauss<double, 20>::integrate(integrand, from, to_v);
  return radius_km * sum;
}

/// range_km() of a ray at an elevation that need not clear the ground.
double traced_km(const Atmosphere& atmosphere, double radius_km, double h1_m, double elevation_deg,
                 double h2_m) noexcept {
  const double m1 = modified_at(atmosphere, radius_km, h1_m / 1000).m;
  const double m2 = modified_at(atmosphere, radius_km, h2_m / 1000).m;
  const double c = m1 * std::cos(elevation_deg * rad_per_deg);
  const double v1 = m1 * std::sin(elevation_deg * rad_per_deg);
  // m2^2 - c^2, without the difference of two large squares.
  const double v2_squared = (m2 - m1) * (m2 + m1) + v1 * v1;
  if (v2_squared <= 0) return 0;
  return std::max(0.0, ray_range_km(atmosphere, radius_km, c, v1, std::sqrt(v2_squared)));
}

double straight_km(double radius_km, double h1_m, double elevation_deg, double h2_m) noexcept {
  const double r1 = radius_km + h1_m / 1000;
  const double r2 = radius_km + h2_m / 1000;
  const double elevation = elevation_deg * rad_per_deg;
  const double v1 = r1 * std::sin(elevation);
  const double v2_squared = (r2 - r1) * (r2 + r1) + v1 * v1;
  if (v2_squared <= 0) return 0;
  const double c = r1 * std::cos(elevation);
  return std::max(0.0, radius_km * (std::atan2(std::sqrt(v2_squared), c) - elevation));
}

}  // namespace

Result<RefractionMethod> parse_refraction(std::string_view text) {
  if (text == "effective") return RefractionMethod::effective;
  if (text == "ray") return RefractionMethod::ray;
  if (text == "none") return RefractionMethod::none;
  return fail(Errc::bad_usage, fmt::format("no refraction \"{}\"", text), "--refraction",
              "choose effective, ray or none");
}

Result<Refraction> Refraction::make(const RefractionSettings& settings) {
  const Atmosphere& air = settings.atmosphere;
  if (!(settings.k >= 0.5 && settings.k <= 10))
    return fail(Errc::out_of_range,
                fmt::format("effective-Earth factor {} is outside 0.5 to 10", settings.k));
  if (!(air.surface_n >= 0 && air.surface_n <= 800))
    return fail(Errc::out_of_range,
                fmt::format("surface refractivity {} is outside 0 to 800", air.surface_n));
  if (!(air.scale_height_km > 0 &&
        1e-6 * air.surface_n / air.scale_height_km * largest_radius_km < 1))
    return fail(Errc::out_of_range,
                fmt::format("refractivity {} over a scale height of {} km bends rays back to the "
                            "ground: there is no horizon",
                            air.surface_n, air.scale_height_km),
                "", "take a larger scale height");
  Refraction made;
  made.settings_ = settings;
  if (settings.method == RefractionMethod::none) made.settings_.k = 1;
  return made;
}

std::string Refraction::method() const {
  if (settings_.method == RefractionMethod::ray)
    return settings_.atmosphere.profile == Atmosphere::Profile::p835 ? "ray, ITU-R P.835"
                                                                     : "ray, ITU-R P.453";
  if (settings_.k == k_standard) return "4/3 Earth";
  return settings_.k == 1 ? "geometric" : fmt::format("{:.3g} Earth", settings_.k);
}

double Refraction::horizon_km(double radius_km, double h1_m, double h2_m) const noexcept {
  if (settings_.method != RefractionMethod::ray)
    return site::horizon_km(radius_km, settings_.k, h1_m, h2_m);
  const Atmosphere& air = settings_.atmosphere;
  if (air.profile == Atmosphere::Profile::p453) return ray_horizon_km(radius_km, air, h1_m, h2_m);
  return traced_km(air, radius_km, 0, 0, std::max(0.0, h1_m)) +
         traced_km(air, radius_km, 0, 0, std::max(0.0, h2_m));
}

double Refraction::dip_deg(double radius_km, double h1_m) const noexcept {
  const double up_km = std::max(0.0, h1_m) / 1000;
  double low = radius_km * settings_.k;
  double high = low + up_km;
  if (settings_.method == RefractionMethod::ray) {
    low = modified_at(settings_.atmosphere, radius_km, 0).m;
    high = modified_at(settings_.atmosphere, radius_km, up_km).m;
  }
  // cos(dip) = low / high.
  return -std::atan2(std::sqrt((high - low) * (high + low)), low) / rad_per_deg;
}

double Refraction::range_km(double radius_km, double h1_m, double elevation_deg,
                            double h2_m) const noexcept {
  h1_m = std::max(0.0, h1_m);
  h2_m = std::max(0.0, h2_m);
  if (elevation_deg <= dip_deg(radius_km, h1_m)) return horizon_km(radius_km, h1_m, h2_m);
  if (settings_.method == RefractionMethod::ray)
    return traced_km(settings_.atmosphere, radius_km, h1_m, elevation_deg, h2_m);
  return straight_km(radius_km * settings_.k, h1_m, elevation_deg, h2_m);
}

double Refraction::elevation_deg(double radius_km, double h1_m, double h2_m,
                                 double range_km) const noexcept {
  h1_m = std::max(0.0, h1_m);
  h2_m = std::max(0.0, h2_m);
  if (settings_.method != RefractionMethod::ray)
    return solve(range_km, radius_km * settings_.k, h1_m, h2_m).elevation_deg;
  const Atmosphere& air = settings_.atmosphere;
  // Over an Earth enlarged by the ray's own mean curvature the answer is right to some hundredths
  // of a degree; the secant method does the rest on the height at which the ray passes the place.
  const double mean = (relative_curvature(radius_km, h1_m) + relative_curvature(radius_km, h2_m) +
                       4 * relative_curvature(radius_km, (h1_m + h2_m) / 2)) /
                      6;
  const double effective_km = 1 / mean;
  double a_deg = solve(range_km, effective_km, h1_m, h2_m).elevation_deg;
  if (range_km < 0.05 || a_deg > 80) return a_deg;  // nothing to bend over
  // An elevation may be so low that its ray never rises to h2: such a range is taken from the
  // straight triangle instead, which is steeper but has the right sense.
  const auto miss_km = [&](double elevation) {
    const double reached = traced_km(air, radius_km, h1_m, elevation, h2_m);
    return (reached > 0 ? reached : straight_km(effective_km, h1_m, elevation, h2_m)) - range_km;
  };
  double b_deg = a_deg + 1e-3;
  double a_miss = miss_km(a_deg);
  double b_miss = miss_km(b_deg);
  for (int i = 0; i < 12 && std::abs(b_miss) > 1e-7 * range_km && b_miss != a_miss; ++i) {
    const double change_deg = std::clamp(b_miss * (b_deg - a_deg) / (b_miss - a_miss), -0.2, 0.2);
    a_deg = b_deg;
    a_miss = b_miss;
    b_deg = std::clamp(b_deg - change_deg, -89.0, 89.0);
    b_miss = miss_km(b_deg);
  }
  return b_deg;
}

double Refraction::relative_curvature(double radius_km, double height_m) const noexcept {
  if (settings_.method != RefractionMethod::ray) return 1 / (radius_km * settings_.k);
  const Air air = air_at(settings_.atmosphere, height_m / 1000);
  return 1 / radius_km + air.slope_per_km / air.n;
}

}  // namespace roundel::site
