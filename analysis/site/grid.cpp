#include "analysis/site/grid.h"

#include <GeographicLib/Geodesic.hpp>
#include <array>
#include <cmath>
#include <numbers>

namespace roundel::site {
namespace {

constexpr double step_deg = 0.25;
constexpr double nodes_per_deg = 1 / step_deg;
/// Beyond this latitude meridians converge too fast for the step.
constexpr double highest_latitude_deg = 80;
/// Shortest degree of latitude (at the equator, 110.574 km), rounded down.
constexpr double km_per_degree = 110.5;

/// Two numbers in one register (vector extension of g++ and clang).
using Pair = double __attribute__((vector_size(2 * sizeof(double))));
inline Pair pair(const Grid::Offset& offset) noexcept {
  return Pair{offset.east_km, offset.north_km};
}

/// Lagrange's weights of four nodes at -1, 0, 1, 2 for a point t in [0, 1).
inline std::array<double, 4> weights(double t) noexcept {
  return {-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2,
          (t + 1) * t * (t - 1) / 6};
}

}  // namespace

Grid::Grid(double latitude_deg, double longitude_deg, double reach_km)
    : longitude_deg_(longitude_deg) {
  const double reach_deg = reach_km / km_per_degree;
  if (std::abs(latitude_deg) + reach_deg > highest_latitude_deg) return;
  constexpr double degree = std::numbers::pi / 180;
  // Farthest meridian that a circle of that radius touches, on a sphere.
  const double wide_deg =
      std::asin(std::sin(reach_deg * degree) / std::cos(latitude_deg * degree)) / degree;
  // One node beyond on the near side and two on the far side, for the interpolation.
  const int up = static_cast<int>(std::ceil(reach_deg * nodes_per_deg)) + 2;
  const int aside = static_cast<int>(std::ceil(wide_deg * nodes_per_deg)) + 2;
  south_deg_ = latitude_deg - up * step_deg;
  west_deg_ = -aside * step_deg;
  rows_ = 2 * up + 1;
  columns_ = 2 * aside + 1;
  nodes_.resize(static_cast<std::size_t>(rows_) * static_cast<std::size_t>(columns_));
  const auto& ellipsoid = GeographicLib::Geodesic::WGS84();
  for (int row = 0; row < rows_; ++row) {
    Offset* const middle = &nodes_[static_cast<std::size_t>(row * columns_ + aside)];
    for (int column = 0; column <= aside; ++column) {
      double range_m{}, azimuth_deg{}, there_deg{};
      ellipsoid.Inverse(latitude_deg, 0, south_deg_ + row * step_deg, column * step_deg, range_m,
                        azimuth_deg, there_deg);
      const double azimuth = azimuth_deg * degree;
      const Offset offset{range_m / 1000 * std::sin(azimuth), range_m / 1000 * std::cos(azimuth)};
      middle[column] = offset;
      middle[-column] = {-offset.east_km, offset.north_km};  // the ellipsoid is round
    }
    middle[0].east_km = 0;  // sin(180 degrees) is not quite 0
  }
}

std::optional<Grid::Offset> Grid::at(double latitude_deg, double longitude_deg) const noexcept {
  double east_deg = longitude_deg - longitude_deg_;
  if (east_deg > 180) east_deg -= 360;
  if (east_deg < -180) east_deg += 360;
  const double y = (latitude_deg - south_deg_) * nodes_per_deg;
  const double x = (east_deg - west_deg_) * nodes_per_deg;
  // Also false for NaN and for an empty grid.
  if (!(y >= 1 && y < rows_ - 2 && x >= 1 && x < columns_ - 2)) return {};
  const int row = static_cast<int>(y);
  const int column = static_cast<int>(x);
  const auto wy = weights(y - row);
  const auto wx = weights(x - column);
  // East and north go side by side through every step.
  Pair sum{0, 0};
  const Offset* node = &nodes_[static_cast<std::size_t>((row - 1) * columns_ + column - 1)];
  for (double w : wy) {
    sum += w * (wx[0] * pair(node[0]) + wx[1] * pair(node[1]) + wx[2] * pair(node[2]) +
                wx[3] * pair(node[3]));
    node += columns_;
  }
  return Offset{sum[0], sum[1]};
}

}  // namespace roundel::site
