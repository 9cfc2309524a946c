// Places and the paths between them: what a track is made of. On a sphere, for steps of a flight;
// ranges and bearings from the antenna are in sightline.h.
#pragma once

namespace roundel::site {

struct Place {
  double latitude_deg{};   ///< north positive, [-90, 90]
  double longitude_deg{};  ///< east positive, [-180, 180]
};

/// The longitude brought into [-180, 180).
double wrap_longitude_deg(double longitude_deg) noexcept;

/// How far `to` lies east of `from`, the short way round, [-180, 180).
double longitude_difference_deg(double to_deg, double from_deg) noexcept;

/// Along the great circle on a sphere of the mean radius 6371.0088 km (IUGG; Moritz 1980, Geodetic
/// Reference System): within most_spherical_error of the ellipsoid's.
double distance_km(const Place& a, const Place& b) noexcept;
inline constexpr double most_spherical_error = 0.0057;

/// distance_km(a, b) <= limit_km, without trigonometry where the places are near each other.
bool are_within(const Place& a, const Place& b, double limit_km) noexcept;

/// The place at a fraction of the way from a to b on the great circle: 0 is a, 1 is b, more or
/// less goes on past them. a where both are the same place or exactly opposite. Right across the
/// antimeridian and the poles.
Place along(const Place& a, const Place& b, double fraction) noexcept;

/// The mean of places near each other (some kilometres). Right across the antimeridian and a pole:
/// sums are of offsets from the first place, and beyond 85 degrees of latitude of coordinates on
/// the plane that touches at the pole.
class MeanPlace {
 public:
  /// @param weight > 0
  void add(const Place& place, double weight = 1) noexcept;
  /// Precondition: something was added.
  Place mean() const noexcept;
  double weight() const noexcept { return weight_; }

 private:
  bool is_polar() const noexcept;
  Place origin_;
  double sum_a_{}, sum_b_{};
  double weight_{};
};

}  // namespace roundel::site
