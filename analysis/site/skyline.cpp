#include <algorithm>
#include <cmath>

#include "analysis/site/angle.h"
#include "roundel/site/terrain.h"

namespace roundel::site {
namespace {

/// Terrain must stand so far above the ray over the last skyline point to become one: less is below
/// the grid's own accuracy.
constexpr double least_rise_m = 0.05;

/// A ray followed outwards in steps: from its height and slope at one range to the next.
class Ray {
 public:
  Ray(const Refraction& refraction, double radius_km)
      : refraction_(refraction), radius_km_(radius_km) {}
  void start(double range_km, double height_km, double elevation) {
    range_km_ = range_km;
    height_km_ = height_km;
    elevation_ = elevation;
  }
  /// d elevation / ds is the relative curvature, dh / ds the slope: second order, over steps of at
  /// most some 200 m.
  double height_km_at(double range_km) {
    const double step_km = range_km - range_km_;
    const double turn = refraction_.relative_curvature(radius_km_, 1000 * height_km_) * step_km;
    height_km_ += std::tan(elevation_ + turn / 2) * step_km * (1 + height_km_ / radius_km_);
    elevation_ += turn;
    range_km_ = range_km;
    return height_km_;
  }
  bool is_vertical() const { return std::abs(elevation_) > 1.5; }

 private:
  const Refraction& refraction_;
  double radius_km_;
  double range_km_ = 0, height_km_ = 0, elevation_ = 0;
};

std::vector<SkylinePoint> rising_points(const Refraction& refraction, double radius_km, double h1_m,
                                        const std::vector<double>& ranges_km,
                                        const float* heights_m) {
  std::vector<SkylinePoint> points;
  Ray ray(refraction, radius_km);
  // Before the first point everything below the horizon's own dip is the smooth surface's doing.
  double highest_deg = refraction.dip_deg(radius_km, h1_m);
  ray.start(0, h1_m / 1000, highest_deg * rad_per_deg);
  for (std::size_t i = 0; i < ranges_km.size(); ++i) {
    const double ray_m = 1000 * ray.height_km_at(ranges_km[i]);
    const double height_m = heights_m[i];
    if (height_m <= ray_m + least_rise_m) continue;
    const double elevation_deg = refraction.elevation_deg(radius_km, h1_m, height_m, ranges_km[i]);
    if (elevation_deg <= highest_deg) continue;
    highest_deg = elevation_deg;
    points.push_back({ranges_km[i], elevation_deg});
    // On from there: the ray's own slope has grown by the curvature over the way.
    const double mean_m = (h1_m + height_m) / 2;
    const double turned = (refraction.relative_curvature(radius_km, h1_m) +
                           4 * refraction.relative_curvature(radius_km, mean_m) +
                           refraction.relative_curvature(radius_km, height_m)) /
                          6 * ranges_km[i];
    ray.start(ranges_km[i], height_m / 1000, elevation_deg * rad_per_deg + turned);
    if (ray.is_vertical()) break;
  }
  return points;
}

}  // namespace

double Skyline::limit_km(const Refraction& refraction, double radius_km, double h1_m,
                         double h2_m) const noexcept {
  const double horizon_km = refraction.horizon_km(radius_km, h1_m, h2_m);
  // The points before which the aircraft still rises: those whose ray reaches its height beyond
  // them. True for the nearest ones, false from some point on.
  double ray_km = horizon_km;
  const auto hides = [&](const SkylinePoint& point) {
    return refraction.range_km(radius_km, h1_m, point.elevation_deg, h2_m) <= point.range_km;
  };
  const auto first = std::partition_point(points_.begin(), points_.end(),
                                          [&](const SkylinePoint& p) { return !hides(p); });
  if (first != points_.begin())
    ray_km = refraction.range_km(radius_km, h1_m, (first - 1)->elevation_deg, h2_m);
  // Nothing is seen through the next one, which stands higher.
  if (first != points_.end()) ray_km = std::min(ray_km, first->range_km);
  return std::min(ray_km, horizon_km);
}

std::vector<Skyline> Terrain::skylines(const Refraction& refraction, const Viewpoint& viewpoint,
                                       double h1_m) const {
  std::vector<Skyline> out;
  out.reserve(bearings);
  for (int bearing = 0; bearing < bearings; ++bearing)
    out.emplace_back(
        rising_points(refraction, viewpoint.radius_km(bearing), std::max(0.0, h1_m), ranges_km_,
                      heights_m_.data() + static_cast<std::size_t>(bearing) * ranges_km_.size()));
  return out;
}

}  // namespace roundel::site
