// Which positions are printed again, and which are new though they look the same.
#pragma once
#include <array>

#include "roundel/site/path.h"

namespace roundel::record {

/// How coarsely a feed writes positions, found from the positions themselves.
class PositionGrid {
 public:
  void add(const site::Place& place) noexcept;
  /// 0.1, 0.01, 0.001 or 0.0001 degree, where 95 % of the latest 256 positions or so lie on that
  /// grid in latitude and longitude both. 0: finer, or too few positions yet.
  double step_deg() const noexcept { return step_deg_; }

 private:
  static constexpr std::array<double, 4> steps_per_deg{1e1, 1e2, 1e3, 1e4};
  std::array<float, steps_per_deg.size()> share_{};  // of the latest positions, on each grid
  int n_ = 0;
  double step_deg_ = 0;
};

/// The latest position of one aircraft, and how fast it moves.
///
/// The same position again is a repeat, but where positions are coarse: an aircraft stays within
/// one step for step / speed, and sends every 0.4 to 0.6 s meanwhile (ICAO Annex 10 Vol IV). Within
/// that time, and no sooner than it can have sent again, the same position is a new report.
class LatestPosition {
 public:
  /// @param step_deg  of the feed's grid; 0: fine, and the same position is always a repeat
  bool is_repeat(const site::Place& place, double time_s, double step_deg) noexcept;

 private:
  void move(const site::Place& place, double time_s, double step_deg) noexcept;

  bool has_any_ = false;
  site::Place place_;
  double since_s_{}, counted_s_{};
  site::Place measured_from_;
  double measured_from_s_{};
  double deg_per_s_ = -1;  // along the faster of the two axes; below 0: not known
};

}  // namespace roundel::record
