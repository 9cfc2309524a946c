// How the air bends a ray: apparent elevation, the range at an elevation, the horizon.
#pragma once
#include <string>
#include <string_view>

#include "roundel/result.h"

namespace roundel::site {

/// Mean effective-Earth factor for refraction (ITU-R P.834).
inline constexpr double k_standard = 4.0 / 3.0;

/// Radio refractivity of the air by height. `p453` falls off exponentially,
/// n = 1 + 1e-6 N0 exp(-h / h0), with the average global profile of Rec. ITU-R P.453 section 2.1 as
/// default. `p835` is the mean annual global reference atmosphere of Rec. ITU-R P.835 with 7.5 g/m3
/// of vapour at the surface, total pressure in the dry term as in Rec. ITU-R P.528-5; it takes no
/// parameters.
struct Atmosphere {
  enum class Profile { p453, p835 };
  double surface_n = 315;         ///< N0, N-units, [0, 800]
  double scale_height_km = 7.35;  ///< h0, > 0
  Profile profile = Profile::p453;
};

enum class RefractionMethod {
  effective,  ///< straight rays over an Earth enlarged by k
  ray,        ///< rays traced through an atmosphere
  none,       ///< straight rays over the Earth as it is
};

struct RefractionSettings {
  RefractionMethod method = RefractionMethod::ray;
  double k = k_standard;  ///< effective only, [0.5, 10]
  Atmosphere atmosphere;  ///< ray only
};

/// "effective", "ray" or "none". Errc::bad_usage.
Result<RefractionMethod> parse_refraction(std::string_view text);

/// Rays over a sphere of the radius of curvature along the bearing. Heights are above its surface,
/// below it they count as 0; elevations are apparent: where the ray arrives at the antenna, above
/// its horizontal. Pure; every result is finite.
///
/// effective, none: plane triangle with the centre of a sphere of radius k R.
/// ray: Bouguer's invariant n r cos(elevation) = C along the ray. With m(r) = n r and
/// v = m sin(local elevation) = sqrt(m^2 - C^2) the range is
///     R Int C dv / (r m dm/dr)
/// smooth through grazing and through the ray's lowest point (v = 0). 20-point Gauss-Legendre, in
/// pieces where P.835 changes its gradient: exact to 1e-7 relative.
class Refraction {
 public:
  /// Errc::out_of_range names the quantity, also where the air would bend rays back to the ground.
  static Result<Refraction> make(const RefractionSettings& settings);
  Refraction() = default;  ///< the default settings

  const RefractionSettings& settings() const noexcept { return settings_; }
  /// "4/3 Earth", "geometric", "ray, ITU-R P.453": as wherever a limit is named.
  std::string method() const;

  /// Farthest range along the ground at which a terminal at h2 is seen from h1, km.
  double horizon_km(double radius_km, double h1_m, double h2_m) const noexcept;
  /// Elevation of the horizon itself seen from h1, degrees, at most 0.
  double dip_deg(double radius_km, double h1_m) const noexcept;
  /// The range at which a terminal at h2 is seen at that elevation from h1, km. Elevations below
  /// the horizon count as the horizon's. 0 where h2 does not rise above that ray at all.
  /// @param elevation_deg  [-90, 90)
  double range_km(double radius_km, double h1_m, double elevation_deg, double h2_m) const noexcept;
  /// Apparent elevation of a terminal at h2 and that range from h1, degrees. Beyond the horizon it
  /// goes on falling, as if the ground were not there. The inverse of range_km() to 1e-6 degree.
  double elevation_deg(double radius_km, double h1_m, double h2_m, double range_km) const noexcept;
  /// How the height of a ray curves away from the ground: d2h/ds2 of a near-horizontal ray at that
  /// height, 1/km (1 / effective radius).
  double relative_curvature(double radius_km, double height_m) const noexcept;

 private:
  RefractionSettings settings_;
};

}  // namespace roundel::site
