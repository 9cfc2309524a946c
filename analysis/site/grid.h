// Range and bearing from one point by interpolation between exact geodesics.
#pragma once
#include <optional>
#include <vector>

namespace roundel::site {

/// Azimuthal-equidistant coordinates around one point, at the nodes of a quarter-degree grid from
/// Geodesic::Inverse, and between them by cubic (4 x 4) Lagrange interpolation.
///
/// A point costs a fourteenth of Geodesic::Inverse. The coordinates are smooth in latitude and
/// longitude, so the fourth-order error stays below a millimetre; spherical formulas are as fast
/// and off by more than a kilometre. Longitudes count from the antenna's: the antimeridian is no
/// edge.
class Grid {
 public:
  struct Offset {
    double east_km, north_km;
  };

  /// Covers all within reach_km; empty (nothing inside) where that comes near a pole.
  Grid(double latitude_deg, double longitude_deg, double reach_km);
  /// None outside the grid.
  std::optional<Offset> at(double latitude_deg, double longitude_deg) const noexcept;

 private:
  double longitude_deg_{};
  double south_deg_{};  ///< latitude of the lowest node
  double west_deg_{};   ///< of the leftmost node, east of the antenna
  int rows_{}, columns_{};
  std::vector<Offset> nodes_;  ///< row by row from the south-west
};

}  // namespace roundel::site
