// Has the last day heard less than the days before? Quick to ask: from hourly summaries alone.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "roundel/pattern/summary.h"
#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::trial {

/// The last 24 summarised hours of a trial against the blocks of 24 hours before them.
struct SensitivityChange {
  std::int64_t from_s{}, to_s{};  ///< the last day
  double change_db{};             ///< below 0: less is heard than before
  double low_db{}, high_db{};     ///< 95 % interval
  int days{};                     ///< that it is held against
};

/// What one block of 24 hours has heard, by place.
struct SensitivityDay {
  std::int64_t from_s{};
  std::vector<pattern::SummaryShare> shares;  ///< by sector, range, elevation
};

/// Index of a day: the shift delta (dB) that its counts ask for, all places alike,
///     sum over places of heard - expected * logistic(logit(p) + delta / w) = 0,
/// p the place's heard share over all days and w the softness (dB) that the slope of logit(p) over
/// -20 log10(range) within sectors shows. The traffic's mix of places is thereby taken out; what
/// else differs from day to day (aircraft, weather) is taken from the days themselves: the interval
/// is Student's for one new value against n earlier ones, change +- t(n - 1) s sqrt(1 + 1 / n).
/// The day is the unit: a day's hours share its weather, and flights cross hours.
///
/// None with fewer than 5 days before the last, or where counts tell nothing (all or none heard).
/// @param days  in order of time; the last is judged
std::optional<SensitivityChange> sensitivity_change(std::span<const SensitivityDay> days);

/// Of the last 28 blocks of 24 hours before the end of what is summarised; blocks with less than 18
/// hours of the trial are left out, and without the last there is no answer. Errc as the store.
Result<std::optional<SensitivityChange>> sensitivity_change(const schema::Store& store,
                                                            schema::Id trial);

}  // namespace roundel::trial
