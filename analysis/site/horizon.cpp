#include "roundel/site/horizon.h"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cassert>
#include <cmath>

namespace roundel::site {
namespace {

/// R acos(R / (R + h)) without the cancellation of 1 - h / R: cos t = 1 / (1 + e) means
/// tan2 t = e (2 + e).
double arc_km(double radius_km, double height_m) noexcept {
  const double e = std::max(0.0, height_m) / 1000 / radius_km;
  return radius_km * std::atan(std::sqrt(e * (2 + e)));
}

double ray_arc_km(double radius_km, const Atmosphere& atmosphere, double height_m) noexcept {
  const double n0_less_1 = 1e-6 * atmosphere.surface_n;
  const double n0 = 1 + n0_less_1;
  // The integrand grows as 1 / sqrt(r - R) at the start: r = R + u^2 takes that away. What is
  // under the root, over u^2, is ((n - n0) R / u^2 + n) (n r + n0 R), smooth from u = 0 on.
  const auto integrand = [&](double u) {
    const double z_km = u * u;
    const double fall = n0_less_1 * std::expm1(-z_km / atmosphere.scale_height_km);
    const double slope = z_km > 0 ? fall / z_km : -n0_less_1 / atmosphere.scale_height_km;
    const double n = n0 + fall;
    const double r = radius_km + z_km;
    const double under = (slope * radius_km + n) * (n * r + n0 * radius_km);
    return 2 * n0 * radius_km / (r * std::sqrt(under));
  };
  const double top = std::sqrt(std::max(0.0, height_m) / 1000);
  return radius_km * boost::math::quadrature::gauss<double, 20>::integrate(integrand, 0.0, top);
}

/// Bouguer's n r must grow from the surface up.
[[maybe_unused]] bool has_horizon(double radius_km, const Atmosphere& atmosphere) {
  return atmosphere.scale_height_km > 0 && atmosphere.surface_n >= 0 &&
         1e-6 * atmosphere.surface_n / atmosphere.scale_height_km * radius_km < 1;
}

}  // namespace

double horizon_km(double radius_km, double k, double h1_m, double h2_m) noexcept {
  assert(radius_km > 0 && k > 0);
  return arc_km(radius_km * k, h1_m) + arc_km(radius_km * k, h2_m);
}

double ray_horizon_km(double radius_km, const Atmosphere& atmosphere, double h1_m,
                      double h2_m) noexcept {
  assert(has_horizon(radius_km, atmosphere));
  return ray_arc_km(radius_km, atmosphere, h1_m) + ray_arc_km(radius_km, atmosphere, h2_m);
}

}  // namespace roundel::site
