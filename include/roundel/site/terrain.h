// The country round the antenna, as profiles of height along each bearing.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/site/refraction.h"
#include "roundel/site/sightline.h"

namespace roundel::site {

/// One point that stands out against the sky: nothing nearer is as high to the eye.
struct SkylinePoint {
  double range_km;
  double elevation_deg;  ///< apparent
};

/// What hides low aircraft on one bearing: points of rising range and elevation, nearest first. An
/// aircraft is hidden by whatever stands before it, so what counts depends on its height.
class Skyline {
 public:
  Skyline() = default;
  explicit Skyline(std::vector<SkylinePoint> points) : points_(std::move(points)) {}
  bool empty() const noexcept { return points_.empty(); }
  /// The highest, degrees; -90 where there is none.
  double elevation_deg() const noexcept {
    return points_.empty() ? -90 : points_.back().elevation_deg;
  }
  const std::vector<SkylinePoint>& points() const noexcept { return points_; }
  /// The farthest range at which a terminal at h2 stands above all that is nearer than itself, km;
  /// at most the horizon.
  double limit_km(const Refraction& refraction, double radius_km, double h1_m,
                  double h2_m) const noexcept;

 private:
  std::vector<SkylinePoint> points_;
};

/// Heights along evenly spaced bearings from the antenna: every grid spacing near in, every
/// thousandth of the range farther out, bilinear in the tiles, along WGS 84 geodesics.
///
/// Tiles are read once, when it is made: those of 1 arc-second take 26 MB each within 30 km and 3
/// MB beyond (every third sample). Missing tiles and voids count as the surrounding surface.
/// Immutable; threads may share it.
class Terrain {
 public:
  static constexpr int bearings = 360;

  /// @param folder     holds NxxEyyy.hgt files, in either case
  /// @param surface_m  of the surrounding country, above mean sea level
  /// @param radius_km  how far out, [1, 400]
  /// Errc: not_found (no such folder, or no tile in it for any of this country, naming some it
  /// would need), malformed (a bad or truncated tile), io.
  static Result<Terrain> read(const std::filesystem::path& folder, double latitude_deg,
                              double longitude_deg, double surface_m, double radius_km);
  /// The same from heights above mean sea level by latitude and longitude; none counts as the
  /// surface. For tests, and for other formats.
  using Height = std::function<std::optional<double>(double latitude_deg, double longitude_deg)>;
  static Terrain sample(const Height& height, double latitude_deg, double longitude_deg,
                        double surface_m, double radius_km, double spacing_km);

  /// Skylines of all bearings (0, 1 ... 359 degrees) for an antenna at h1 above the surface.
  /// Points nearer than one grid spacing are the site's own ground and are left out.
  std::vector<Skyline> skylines(const Refraction& refraction, const Viewpoint& viewpoint,
                                double h1_m) const;

  /// Height of the ground at the site above mean sea level; none in a void or missing tile.
  std::optional<double> ground_m() const noexcept { return ground_m_; }
  const std::vector<std::string>& missing_tiles() const noexcept { return missing_; }
  int tiles() const noexcept { return tiles_; }
  std::int64_t voids() const noexcept { return voids_; }  ///< samples along the profiles
  double radius_km() const noexcept { return radius_km_; }

 private:
  std::vector<double> ranges_km_;
  std::vector<float> heights_m_;  ///< above the surface, bearing by bearing
  std::vector<std::string> missing_;
  std::optional<double> ground_m_;
  int tiles_ = 0;
  std::int64_t voids_ = 0;
  double radius_km_ = 0;
};

}  // namespace roundel::site
