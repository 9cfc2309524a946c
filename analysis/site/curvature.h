// Radii of curvature of the WGS 84 ellipsoid at one latitude: shared by the files of this room.
#pragma once

namespace roundel::site {

struct Curvature {
  double meridian_km;  ///< M, north-south
  double prime_km;     ///< N, east-west

  /// At a geodetic latitude: M = a (1 - e2) / (1 - e2 sin2)^1.5, N = a / (1 - e2 sin2)^0.5.
  static Curvature at(double latitude_deg) noexcept;
  /// Along a bearing (Euler): 1/R = cos2 / M + sin2 / N.
  double along_km(double bearing_deg) const noexcept;
  /// The same, from the bearing's squared cosine.
  double along_north2_km(double north2) const noexcept {
    return 1 / (north2 / meridian_km + (1 - north2) / prime_km);
  }
};

}  // namespace roundel::site
