// Angles of very many vectors: what std::atan2 costs is a sixth of a verdict.
#pragma once
#include <cmath>
#include <numbers>

namespace roundel::site {

/// The angle, in [0, 45] degrees, between a vector and the nearer axis.
/// @param low, high  its components without sign, the lesser first
///
/// atan(x) = x + x z P(z) / Q(z), z = x^2, for |x| <= tan(pi/8); beyond that by
/// atan(x) = pi/4 + atan((x - 1) / (x + 1)). P and Q: Moshier, Cephes, atan.c (relative error
/// 2e-16). No branch, here and below: which half of the octant, and which octant, changes from call
/// to call, and a loop over many points goes by several at once.
inline double octant_deg(double low, double high) noexcept {
  constexpr double tan_pi_8 = 0.41421356237309504880;
  high = high < 1e-300 ? 1e-300 : high;  // of the null vector, 0
  const double is_upper = low > tan_pi_8 * high ? 1.0 : 0.0;
  const double x = (low - is_upper * high) / (high + is_upper * low);
  const double z = x * x;
  const double p = (((-8.750608600031904122785e-1 * z - 1.615753718733365076637e1) * z -
                     7.500855792314704667340e1) *
                        z -
                    1.228866684490136173410e2) *
                       z -
                   6.485021904942025371773e1;
  const double q = ((((z + 2.485846490142306297962e1) * z + 1.650270098316988542046e2) * z +
                     4.328810604912902668951e2) *
                        z +
                    4.853903996359136964868e2) *
                       z +
                   1.945506571482613964425e2;
  return is_upper * 45 + (x + x * z * p / q) * (180 / std::numbers::pi);
}

/// Bearing of a vector, clockwise from north, in [0, 360): atan2(east, north) to 1e-13 degrees. Of
/// the null vector, 0.
inline double bearing_of(double east, double north) noexcept {
  const double across = std::abs(east), along = std::abs(north);
  const double octant =
      octant_deg(across < along ? across : along, across < along ? along : across);
  const double quadrant = across > along ? 90 - octant : octant;
  const double half = north < 0 ? 180 - quadrant : quadrant;
  const double bearing_deg = east < 0 ? 360 - half : half;
  return bearing_deg < 360 ? bearing_deg : 0.0;  // a tiny bit west of north rounds to 360
}

/// Elevation of a vector, in [-90, 90] degrees: atan2(up, across) to 1e-13 degrees.
/// @param across  >= 0
inline double elevation_of(double up, double across) noexcept {
  const double height = std::abs(up);
  const double octant =
      octant_deg(height < across ? height : across, height < across ? across : height);
  return std::copysign(height > across ? 90 - octant : octant, up);
}

}  // namespace roundel::site
