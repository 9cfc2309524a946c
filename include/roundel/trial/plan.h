// How to spend some days on comparing two antennas, and how precise the answer will be.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::trial {

/// One antenna on one receiver and mount.
struct Mounting {
  std::string antenna, receiver, mount;
};

/// A stretch of the schedule; two mountings run at once.
struct PlanStep {
  double from_day{}, to_day{};
  std::vector<Mounting> mountings;
};

struct ComparePlan {
  double days{};
  bool both_at_once = false;  ///< on two receivers, swapped; otherwise alternating by day
  std::vector<PlanStep> steps;
  /// Half of the 95 % interval of the mean difference, and of a sector's (median), to expect from
  /// traffic like that seen; none where too little was seen.
  std::optional<double> half_width_db, sector_half_width_db;
  int sectors{};  ///< with enough flights seen
  double hours_seen{};
  std::int64_t flights_seen{};
};

/// Two receivers known to the database: both at once, receivers swapped half-way (and, where the
/// antennas stood on different mounts, mounts too, in quarters). One receiver: the antennas by
/// turns, a day each (half a day below two days).
///
/// Precision: at once, from what each flight seen in each sector would tell of a difference; by
/// turns, from the rate fit's robust errors (pattern/gain.h), each antenna having half the time.
/// Errors go with the root of hours.
/// @param days  > 0, at most 365
/// Errc: bad_usage (days; a and b the same), not_found, too_little (nothing was heard of either),
/// and those of the store. An antenna not yet known may be planned with.
Result<ComparePlan> plan_comparison(const schema::Store& store, const schema::Selection& a,
                                    const schema::Selection& b, double days);

}  // namespace roundel::trial
