#include "analysis/simulate/plane.h"

#include <GeographicLib/AzimuthalEquidistant.hpp>
#include <algorithm>
#include <array>
#include <cassert>

#include "analysis/simulate/numeric.h"

namespace roundel::simulate {
namespace {

constexpr double spacing_km = 40;
constexpr int half = 18;  // nodes on either side of the site
constexpr int side = 2 * half + 1;
constexpr double km_per_foot = 0.0003048;

/// Weights of four equally spaced nodes at -1, 0, 1, 2 for a point at t in [0, 1] (Lagrange).
std::array<double, 4> cubic(double t) {
  return {-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2,
          (t + 1) * t * (t - 1) / 6};
}

}  // namespace

Plane::Plane(const schema::SiteRow& site, double earth_factor)
    : latitude_deg_(site.latitude_deg),
      longitude_deg_(site.longitude_deg),
      surface_km_(site.surface_m / 1000),
      antenna_km_(std::max(0.0, (site.ground_m + site.antenna_m - site.surface_m) / 1000)) {
  // WGS 84.
  constexpr double a_km = 6378.137, f = 1 / 298.257223563, e2 = f * (2 - f);
  const double s = sin_cos(latitude_deg_ * degree).sin, w = 1 - e2 * s * s;
  normal_km_ = earth_factor * a_km / std::sqrt(w);
  meridian_km_ = earth_factor * a_km * (1 - e2) / (w * std::sqrt(w));
  const double mean_km = std::sqrt(normal_km_ * meridian_km_);
  horizon_elevation_deg_ =
      -angle_of(std::sqrt(antenna_km_ * (2 * mean_km + antenna_km_)), mean_km) / degree;

  const GeographicLib::AzimuthalEquidistant projection(GeographicLib::Geodesic::WGS84());
  nodes_.resize(static_cast<std::size_t>(side * side));
  for (int j = 0; j < side; ++j) {
    for (int i = 0; i < side; ++i) {
      double latitude, longitude;
      projection.Reverse(latitude_deg_, longitude_deg_, (i - half) * spacing_km * 1000,
                         (j - half) * spacing_km * 1000, latitude, longitude);
      nodes_[static_cast<std::size_t>(j * side + i)] = {
          latitude, wrap_360(longitude - longitude_deg_ + 180) - 180};
    }
  }
}

Position Plane::position(Place place) const {
  const double u = place.x_km / spacing_km + half, v = place.y_km / spacing_km + half;
  const int i = std::clamp(static_cast<int>(u), 1, side - 3);
  const int j = std::clamp(static_cast<int>(v), 1, side - 3);
  const auto wx = cubic(u - i), wy = cubic(v - j);
  double latitude = 0, longitude = 0;
  for (int n = 0; n < 4; ++n) {
    const Position* row = &nodes_[static_cast<std::size_t>((j + n - 1) * side + i - 1)];
    double row_latitude = 0, row_longitude = 0;
    for (int m = 0; m < 4; ++m) {
      row_latitude += wx[static_cast<std::size_t>(m)] * row[m].latitude_deg;
      row_longitude += wx[static_cast<std::size_t>(m)] * row[m].longitude_deg;
    }
    latitude += wy[static_cast<std::size_t>(n)] * row_latitude;
    longitude += wy[static_cast<std::size_t>(n)] * row_longitude;
  }
  longitude += longitude_deg_;
  if (longitude >= 180) longitude -= 360;
  if (longitude < -180) longitude += 360;
  return {latitude, longitude};
}

Place Plane::place(Position position) const {
  const GeographicLib::AzimuthalEquidistant projection(GeographicLib::Geodesic::WGS84());
  Place place;
  projection.Forward(latitude_deg_, longitude_deg_, position.latitude_deg, position.longitude_deg,
                     place.x_km, place.y_km);
  place.x_km /= 1000;
  place.y_km /= 1000;
  return place;
}

double Plane::curvature_per_km(double cos_bearing) const {
  const double c2 = cos_bearing * cos_bearing;
  return c2 / meridian_km_ + (1 - c2) / normal_km_;
}

double Plane::height_km(double altitude_ft) const {
  return std::max(0.0, altitude_ft * km_per_foot - surface_km_);
}

Sight Plane::sight(Place place, double altitude_ft) const {
  Sight sight;
  sight.range_km = std::sqrt(place.x_km * place.x_km + place.y_km * place.y_km);
  if (sight.range_km > 1e-6) {
    sight.sin_bearing = place.x_km / sight.range_km;
    sight.cos_bearing = place.y_km / sight.range_km;
    sight.bearing_deg = wrap_360(angle_of(place.x_km, place.y_km) / degree);
  } else {
    sight.cos_bearing = 1;
  }
  const double curvature = curvature_per_km(sight.cos_bearing);
  const double r1 = 1 / curvature + antenna_km_, r2 = 1 / curvature + height_km(altitude_ft);
  // sin of half the angle at the Earth's centre, at most 0.04: four terms are exact.
  const double t = sight.range_km * curvature / 2, z = t * t;
  const double s = t * (1 - z / 6 * (1 - z / 20 * (1 - z / 42)));
  const double versine = 2 * s * s;  // 1 - cos
  sight.slant_km = std::sqrt((r2 - r1) * (r2 - r1) + 2 * r1 * r2 * versine);
  const double up = r2 - r1 - r2 * versine, across = 2 * r2 * s * std::sqrt(1 - s * s);
  sight.elevation_deg = angle_of(up, across) / degree;
  return sight;
}

double Plane::horizon_km(const Sight& sight, double altitude_ft) const {
  const double curvature = curvature_per_km(sight.cos_bearing);
  // Angles at the centre from each end to its horizon: tangent sqrt(h (2 R + h)) / R.
  const double h1 = antenna_km_ * curvature, h2 = height_km(altitude_ft) * curvature;
  const double arc = angle_of(std::sqrt(h1 * (2 + h1)), 1) + angle_of(std::sqrt(h2 * (2 + h2)), 1);
  return arc / curvature;
}

}  // namespace roundel::simulate
