// Has the antenna changed over time? A sensitivity index, and the points at which it steps.
#pragma once
#include <cstdint>
#include <optional>
#include <vector>

#include "roundel/pattern/gain.h"
#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"

namespace roundel::trial {

struct DriftDay {
  std::int64_t start_s{};                  ///< midnight UTC
  double index_db{}, low_db{}, high_db{};  ///< against the mean of all days; 95 % interval
  int flights{};
};

struct DriftChange {
  std::int64_t time_s{};
  std::int64_t earliest_s{}, latest_s{};  ///< where the statistic is within 6 of its maximum
  /// After less before. Of a run of four sectors or more: in those between its ends, which an
  /// obstacle may cover in part. The interval allows for the fitted scale's error (gain.h).
  double step_db{}, low_db{}, high_db{};
  std::vector<double> bearings_deg;  ///< middles of the sectors concerned; empty: all
  double probability{};              ///< 1 - chance of such a step in a steady record
};

struct Drift {
  std::vector<DriftDay> days;
  std::vector<DriftChange> changes;  ///< by time
  std::vector<schema::Note> notes;   ///< known events within the time
  std::int64_t flights{};
};

/// Index: each flight's level against what the rate model (pattern/gain.h) expects of it, weighted
/// by 1 / (1 / information + spread between flights^2): the traffic's mix of ranges, bearings and
/// heights is thereby taken out, and the flight is the unit.
///
/// Changes: largest standardised CUSUM over the flights in order of time, against its distribution
/// when pieces of 3 h are put in 2000 seeded orders (a permutation test: nothing is assumed on how
/// flights are distributed), repeated on both sides of each change found. All bearings first, at a
/// false-alarm chance of 1 %; such a step is loss (or gain) of sensitivity if over twelve wedges a
/// shared step, but for a run of neighbours, is a better account by Schwarz's criterion (1978, Ann.
/// Stat. 6:461; from memory) than none but in such a run. Then, what all share removed, the wedges,
/// 1 % over all of them: a step in one, or in neighbours at once, is an obstacle (or one gone),
/// narrowed down to the sectors that step.
Drift find_drift(const pattern::Exposure& exposure);

/// find_drift() of the stored cells of a selection, and of the summaries of hours whose cells are
/// gone: one antenna, receiver, mount and rotation. Errc: bad_usage, not_found, too_little, and
/// those of the store.
/// @param from_summaries  whole hours from their summaries, which round a little
///   (analysis/pattern/hour_exposure_bytes.h), in a fraction of the time
Result<Drift> drift(const schema::Store& store, const schema::Selection& which,
                    bool from_summaries = false);

}  // namespace roundel::trial
