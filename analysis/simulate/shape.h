// Gain of antennas and mounts by bearing and elevation.
#pragma once
#include <array>

#include "roundel/result.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

/// Gain on a quarter-degree grid of bearings; linear between them.
class AzimuthGain {
 public:
  static constexpr int per_degree = 4;
  static constexpr int size = 360 * per_degree;

  AzimuthGain() = default;
  /// Errc::out_of_range: a mast that cannot be.
  static Result<AzimuthGain> make(const AzimuthShape& shape);

  /// @param bearing_deg [0, 360)
  double at(double bearing_deg) const;
  double node(int i) const { return gain_db_[static_cast<std::size_t>(i)]; }
  double mean_db() const;
  /// This, turned clockwise, plus the other.
  AzimuthGain turned_plus(double rotation_deg, const AzimuthGain& other) const;

 private:
  std::array<double, size + 1> gain_db_{};  // the last repeats the first
};

/// Gain on a tenth-degree grid of elevations from -5 to 90 degrees; linear between them.
class ElevationGain {
 public:
  ElevationGain() = default;
  explicit ElevationGain(const ElevationShape& shape);
  double at(double elevation_deg) const;

 private:
  std::array<double, 951> gain_db_{};
};

}  // namespace roundel::simulate
