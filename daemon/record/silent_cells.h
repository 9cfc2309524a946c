// Where an aircraft was while nothing was heard of it.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "roundel/site/path.h"

namespace roundel::record {

/// A cell in which the aircraft was heard, as an end of a gap.
struct HeardCell {
  std::int64_t window{};
  double time_s{};  ///< mean time of its reports: when it was at `place`
  site::Place place;
  double altitude_ft{};
};

/// A place on the way between two heard cells.
struct Waypoint {
  site::Place place;
  double altitude_ft{};
};

/// Along the great circle, at even speed and rate of climb. time_s may lie outside the two.
Waypoint waypoint(const HeardCell& from, const HeardCell& to, double time_s) noexcept;

/// A long gap across which dead reckoning from both ends agrees with one straight, level path.
///
/// Dead reckoning from before the gap misses its far end by m1, from behind it, backwards, its
/// near end by m2; both must be at most the larger of 3 km and 5 % of the distance (a turn by 3
/// degrees), the speeds at both ends and across within 10 % of each other, altitude within 500 ft
/// throughout. Between the ends, at fraction f, the curve with the two ends' velocities (cubic
/// Hermite) lies at most f (1 - f) ((1 - f) m1 + f m2) from the straight path; to that is added,
/// in squares, what wind and steering may do unseen: 0.1 km times the root of the seconds of a
/// walk pinned at both ends, t (T - t) / T. The figures are common practice, no source.
class StraightPath {
 public:
  /// @param before  the last cells heard before the gap, by time; at least 2 over 15 s
  /// @param after   the first ones behind it, likewise
  static std::optional<StraightPath> find(std::span<const HeardCell> before,
                                          std::span<const HeardCell> after) noexcept;
  Waypoint at(double time_s) const noexcept { return waypoint(from_, to_, time_s); }
  /// @param time_s within the gap. At least 0.1, which is the least that is stored.
  double uncertainty_km(double time_s) const noexcept;

 private:
  HeardCell from_, to_;
  double miss_forward_km_{}, miss_backward_km_{};
};

}  // namespace roundel::record
