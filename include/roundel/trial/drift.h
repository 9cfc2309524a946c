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
  std::int64_t earliest_s{}, latest_s{};  ///< where the test is within 3 units of its maximum
  double step_db{}, low_db{}, high_db{};  ///< after less before
  std::vector<double> bearings_deg;       ///< middles of the sectors concerned; empty: all
  double probability{};                   ///< 1 - chance of such a step in a steady record
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
/// in a steady record by 2000 seeded orders of the same flights (a permutation test: no assumption
/// on their distribution), repeated on both sides of each change found. All bearings first, at a
/// false-alarm chance of 2 %; then, what all bearings share removed, wedges of 30 degrees, 2 % over
/// all of them. A step shared by all is loss (or gain) of sensitivity, one in a wedge an obstacle.
Drift find_drift(const pattern::Exposure& exposure);

/// find_drift() of the stored cells of a selection: one antenna, receiver, mount and rotation.
/// Errc: bad_usage, not_found, too_little, and those of the store.
Result<Drift> drift(const schema::Store& store, const schema::Selection& which);

}  // namespace roundel::trial
