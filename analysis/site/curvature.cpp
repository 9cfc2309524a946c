#include "analysis/site/curvature.h"

#include <GeographicLib/Geodesic.hpp>
#include <cmath>
#include <numbers>

namespace roundel::site {

Curvature Curvature::at(double latitude_deg) noexcept {
  const auto& ellipsoid = GeographicLib::Geodesic::WGS84();
  const double a_km = ellipsoid.EquatorialRadius() / 1000;
  const double f = ellipsoid.Flattening();
  const double e2 = f * (2 - f);
  const double sine = std::sin(latitude_deg * std::numbers::pi / 180);
  const double w2 = 1 - e2 * sine * sine;
  return {a_km * (1 - e2) / (w2 * std::sqrt(w2)), a_km / std::sqrt(w2)};
}

double Curvature::along_km(double bearing_deg) const noexcept {
  const double north = std::cos(bearing_deg * std::numbers::pi / 180);
  return along_north2_km(north * north);
}

}  // namespace roundel::site
