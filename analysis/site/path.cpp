#include "roundel/site/path.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "analysis/site/angle.h"

namespace roundel::site {
namespace {

constexpr double mean_radius_km = 6371.0088;
constexpr double km_per_deg = mean_radius_km * rad_per_deg;
// Beyond it, offsets in longitude are no longer proportional to distance within a cell's 3 km.
constexpr double polar_latitude_deg = 85;

struct Vector {
  double x, y, z;
};

Vector unit_vector(const Place& p) {
  const double latitude = p.latitude_deg * rad_per_deg, longitude = p.longitude_deg * rad_per_deg;
  const double c = std::cos(latitude);
  return {c * std::cos(longitude), c * std::sin(longitude), std::sin(latitude)};
}

}  // namespace

double wrap_longitude_deg(double longitude_deg) noexcept {
  if (longitude_deg >= -180 && longitude_deg < 180) return longitude_deg;
  const double wrapped = longitude_deg - 360 * std::floor((longitude_deg + 180) / 360);
  return wrapped < 180 ? wrapped : -180;  // rounding may reach 180 from just below -180
}

double longitude_difference_deg(double to_deg, double from_deg) noexcept {
  return wrap_longitude_deg(to_deg - from_deg);
}

double distance_km(const Place& a, const Place& b) noexcept {
  // Haversine: keeps its digits for near places, where the cosine formula loses them.
  const double half_latitude = (b.latitude_deg - a.latitude_deg) * rad_per_deg / 2;
  const double half_longitude =
      longitude_difference_deg(b.longitude_deg, a.longitude_deg) * rad_per_deg / 2;
  const double s = std::sin(half_latitude), t = std::sin(half_longitude);
  const double h = s * s + std::cos(a.latitude_deg * rad_per_deg) *
                               std::cos(b.latitude_deg * rad_per_deg) * t * t;
  return 2 * mean_radius_km * std::asin(std::min(1.0, std::sqrt(h)));
}

bool are_within(const Place& a, const Place& b, double limit_km) noexcept {
  const double north_km = std::abs(b.latitude_deg - a.latitude_deg) * km_per_deg;
  if (north_km > limit_km) return false;
  // A degree of longitude is nowhere on the way longer than nearest to the equator, so the
  // hypotenuse is the length, or more than it, of a path between the two: never too short. Nor is
  // the cosine: its series, cut off behind a term that is added.
  const bool crosses_equator = a.latitude_deg * b.latitude_deg < 0;
  const double nearest =
      crosses_equator ? 0
                      : std::min(std::abs(a.latitude_deg), std::abs(b.latitude_deg)) * rad_per_deg;
  const double square = nearest * nearest;
  const double most_cosine = 1 - square / 2 * (1 - square / 12);
  const double east_km = std::abs(longitude_difference_deg(b.longitude_deg, a.longitude_deg)) *
                         km_per_deg * most_cosine;
  if (north_km * north_km + east_km * east_km <= limit_km * limit_km) return true;
  return distance_km(a, b) <= limit_km;
}

Place along(const Place& a, const Place& b, double fraction) noexcept {
  const Vector p = unit_vector(a), q = unit_vector(b);
  // Component of q at right angles to p, by which the circle is walked from p.
  const double dot = p.x * q.x + p.y * q.y + p.z * q.z;
  Vector n{q.x - dot * p.x, q.y - dot * p.y, q.z - dot * p.z};
  const double across = std::hypot(n.x, n.y, n.z);
  if (across < 1e-15) return a;
  const double angle = std::atan2(across, dot) * fraction;
  const double c = std::cos(angle), s = std::sin(angle) / across;
  const Vector r{c * p.x + s * n.x, c * p.y + s * n.y, c * p.z + s * n.z};
  return {std::atan2(r.z, std::hypot(r.x, r.y)) / rad_per_deg,
          wrap_longitude_deg(std::atan2(r.y, r.x) / rad_per_deg)};
}

bool MeanPlace::is_polar() const noexcept {
  return std::abs(origin_.latitude_deg) > polar_latitude_deg;
}

void MeanPlace::add(const Place& place, double weight) noexcept {
  assert(weight > 0);
  if (weight_ == 0) origin_ = place;
  weight_ += weight;
  if (!is_polar()) {
    sum_a_ += weight * (place.latitude_deg - origin_.latitude_deg);
    sum_b_ += weight * longitude_difference_deg(place.longitude_deg, origin_.longitude_deg);
    return;
  }
  const double from_pole_deg = 90 - std::copysign(1, origin_.latitude_deg) * place.latitude_deg;
  sum_a_ += weight * from_pole_deg * std::cos(place.longitude_deg * rad_per_deg);
  sum_b_ += weight * from_pole_deg * std::sin(place.longitude_deg * rad_per_deg);
}

Place MeanPlace::mean() const noexcept {
  assert(weight_ > 0);
  const double a = sum_a_ / weight_, b = sum_b_ / weight_;
  if (!is_polar()) {
    return {origin_.latitude_deg + a, wrap_longitude_deg(origin_.longitude_deg + b)};
  }
  return {std::copysign(90 - std::hypot(a, b), origin_.latitude_deg),
          wrap_longitude_deg(std::atan2(b, a) / rad_per_deg)};
}

}  // namespace roundel::site
