// Where an aircraft stands as seen from the antenna: range, bearing, elevation.
#pragma once
#include <memory>
#include <span>
#include <utility>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/site/altitude.h"
#include "roundel/site/refraction.h"

namespace roundel::schema {
class Store;
}

namespace roundel::site {

inline constexpr double km_per_nautical_mile = 1.852;  // exact

/// A position, valid by construction: finite and within the ranges below.
class GeoPoint {
 public:
  /// @param latitude_deg   geodetic, WGS 84, north positive, [-90, 90]
  /// @param longitude_deg  east positive, [-180, 180]
  /// @param height_m       above the surrounding surface, [-500, 50 000]
  /// Errc::out_of_range names the quantity and the value refused.
  static Result<GeoPoint> make(double latitude_deg, double longitude_deg, double height_m);
  double latitude_deg() const noexcept { return latitude_deg_; }
  double longitude_deg() const noexcept { return longitude_deg_; }
  double height_m() const noexcept { return height_m_; }

 private:
  GeoPoint() = default;
  double latitude_deg_{}, longitude_deg_{}, height_m_{};
};

struct Sightline {
  double range_km;       ///< along the ground, >= 0
  double slant_km;       ///< along the ray, >= 0
  double bearing_deg;    ///< at the antenna, clockwise from true north, [0, 360)
  double elevation_deg;  ///< above the antenna's horizontal, [-90, 90]
};

/// Sightline from `antenna` to `aircraft`. Cannot fail; every member is finite.
///
/// Range, bearing: inverse geodesic, WGS 84, by GeographicLib (Karney 2013, J. Geodesy 87:43,
/// doi:10.1007/s00190-012-0578-z; 15 nm).
/// Slant, elevation: plane triangle with the Earth's centre. r = k R + h, t = range / (k R),
/// R the radius of curvature along the bearing (Euler), k the effective-Earth factor:
///     slant^2 = r1^2 + r2^2 - 2 r1 r2 cos t     tan(elevation) = (r2 cos t - r1) / (r2 sin t)
/// Range under 1 m: bearing is 0 by convention.
Sightline sightline(const GeoPoint& antenna, const GeoPoint& aircraft,
                    double k = k_standard) noexcept;

/// Where a point lies on the ground as seen from the antenna.
struct Overground {
  double range_km;     ///< along the ground, >= 0
  double bearing_deg;  ///< clockwise from true north, [0, 360)
};

/// A sightline whose place is given as a vector, too: what else is asked of very many points, which
/// would take sines of the bearing again.
struct Sighting {
  Sightline line;
  double east_km, north_km;  ///< range_km along bearing_deg
};

/// Sightlines from one antenna to very many points: the geodesic by interpolation in a grid of
/// azimuthal-equidistant coordinates around the antenna, exact to 1 mm and 1e-6 deg out to
/// 1000 km. Nearer than 1 km, outside the grid, or with the antenna beyond 70 degrees of latitude
/// it falls back to sightline(). Making one costs about 10 ms, a copy nothing; immutable, so
/// threads may share it.
class Viewpoint {
 public:
  explicit Viewpoint(const GeoPoint& antenna, double k = k_standard);
  /// From the stored site; heights are taken above site.surface_m. Errc::out_of_range.
  /// @param sea_level_hpa  pressure that turns pressure altitudes into heights (altitude.h)
  static Result<Viewpoint> from(const schema::SiteRow& site, double k = k_standard,
                                double sea_level_hpa = standard_hpa);
  /// From the site that a database knows. Errc::not_found where it knows none; others of the store.
  static Result<Viewpoint> of(const schema::Store& store, double sea_level_hpa = standard_hpa);

  const GeoPoint& antenna() const noexcept;
  double k() const noexcept;
  /// Range and bearing alone, at half the cost of to(). Latitude and longitude as in GeoPoint.
  Overground over(double latitude_deg, double longitude_deg) const noexcept;
  /// @param altitude_ft pressure altitude; surface_m is subtracted from its true height
  Sightline to(double latitude_deg, double longitude_deg, double altitude_ft) const noexcept;
  /// The same with its place as a vector.
  Sighting sight(double latitude_deg, double longitude_deg, double altitude_ft) const noexcept;
  /// The same of very many, several at a time. Shapes: cells [N], out [N], asserted.
  void sight(std::span<const schema::Cell> cells, std::span<Sighting> out) const noexcept;
  /// The sightline to a place given by its range and bearing.
  Sightline along(const Overground& place, double altitude_ft) const noexcept;
  /// Height of an altitude above the surrounding surface, m, at least 0.
  double height_m(double altitude_ft) const noexcept;
  /// Radio horizon, km along the ground, of an aircraft at that altitude on that bearing:
  ///     R k (acos(R k / (R k + h1)) + acos(R k / (R k + h2)))
  /// An antenna lower than the surrounding surface counts as on it.
  double horizon_km(double bearing_deg, double altitude_ft) const noexcept;
  /// The ellipsoid's radius of curvature at the antenna, along a bearing (Euler), km.
  double radius_km(double bearing_deg) const noexcept;

 private:
  struct Impl;
  explicit Viewpoint(std::shared_ptr<const Impl> impl) : impl_(std::move(impl)) {}
  std::shared_ptr<const Impl> impl_;
};

}  // namespace roundel::site
