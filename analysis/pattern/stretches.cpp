#include "analysis/pattern/stretches.h"

#include <algorithm>
#include <cmath>

#include "analysis/pattern/hour_exposure_bytes.h"
#include "roundel/pattern/summary.h"

namespace roundel::pattern {
namespace {

/// Hours on end, of the same trials.
struct StaleHours {
  std::vector<schema::Id> trials;
  double from_s, to_s;
};

/// The parts of a selection that no summary answers, in order.
Result<std::vector<schema::Selection>> not_summarised(const schema::Store& store,
                                                      const schema::Selection& which) {
  const auto state = store.summary_state();
  if (!state) return tl::unexpected(state.error());
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  std::vector<schema::Selection> out;
  std::vector<StaleHours> stale;
  const auto add = [&](schema::Selection part, double from_s, std::optional<double> to_s) {
    part.from_s = std::max(which.from_s.value_or(from_s), from_s);
    if (to_s) part.to_s = std::min(which.to_s.value_or(*to_s), *to_s);
    if (!part.to_s || *part.from_s < *part.to_s) out.push_back(std::move(part));
  };
  const auto before_s = static_cast<double>(state->before_s);
  // The part of an hour that a selection begins with: summaries are of whole hours.
  if (which.from_s && *which.from_s < before_s)
    add(which, *which.from_s, std::min(before_s, std::ceil(*which.from_s / 3600) * 3600));
  // After a change of site a year is stale, hour after hour: read in one they take a tenth of the
  // time.
  for (std::size_t i = 0; i < state->stale.size();) {
    const std::int64_t hour_s = state->stale[i].hour_s;
    std::vector<schema::Id> of;
    for (; i < state->stale.size() && state->stale[i].hour_s == hour_s; ++i)
      if (std::any_of(trials->begin(), trials->end(), [&](const schema::Trial& trial) {
            return trial.id == state->stale[i].trial;
          }))
        of.push_back(state->stale[i].trial);
    const auto from_s = static_cast<double>(hour_s);
    // The hour that the selection begins in has been added.
    if (of.empty() || (which.from_s && from_s < *which.from_s)) continue;
    if (!stale.empty() && stale.back().to_s == from_s && stale.back().trials == of)
      stale.back().to_s = from_s + 3600;
    else
      stale.push_back({std::move(of), from_s, from_s + 3600});
  }
  for (StaleHours& hours : stale) {
    schema::Selection part = which;
    part.trials = std::move(hours.trials);
    add(std::move(part), hours.from_s, hours.to_s);
  }
  add(which, before_s, std::nullopt);
  return out;
}

// How many of a summary's sectors are one.
Result<int> summary_sectors_in(double sector_deg) {
  const double multiple = sector_deg / SummaryBins::sector_deg;
  if (std::abs(multiple - std::round(multiple)) > 1e-9 || multiple < 0.5)
    return fail(Errc::bad_usage, "only summaries by 5 degrees are left of some hours",
                "--sector-deg", "choose a multiple of 5, or a later --from");
  return static_cast<int>(std::lround(multiple));
}

}  // namespace

Result<std::vector<schema::Selection>> parts_by_cells(const schema::Store& store,
                                                      const schema::Selection& which,
                                                      Summaries use) {
  if (use == Summaries::where_cells_are_gone) return std::vector{which};
  auto parts = not_summarised(store, which);
  if (parts)
    std::stable_sort(parts->begin(), parts->end(),
                     [](const auto& a, const auto& b) { return a.from_s < b.from_s; });
  return parts;
}

Result<void> each_hour(const schema::Store& store, const schema::Selection& which, Summaries use,
                       schema::SummaryPart part,
                       const std::function<Result<void>(schema::Summary&&)>& hour) {
  Result<void> fine;
  const auto read = store.each_summary(which, use == Summaries::where_cells_are_gone, part,
                                       [&](schema::Summary&& stored) {
                                         fine = hour(std::move(stored));
                                         return fine.has_value();
                                       });
  return read ? fine : read;
}

Result<void> each_stretch(const schema::Store& store, const schema::Selection& which, Summaries use,
                          const std::vector<schema::Selection>& parts, schema::SummaryPart part,
                          const std::function<Result<void>(schema::Summary&&)>& hour,
                          const std::function<Result<void>(const schema::Selection&)>& cells) {
  if (use == Summaries::where_cells_are_gone) {
    // The oldest hours lose their cells first.
    if (auto ok = each_hour(store, which, use, part, hour); !ok) return ok;
    return cells(which);
  }
  schema::Selection hours = which;
  const auto hours_before = [&](std::optional<double> to_s) {
    hours.to_s = to_s;
    auto read = each_hour(store, hours, use, part, hour);
    hours.from_s = to_s;
    return read;
  };
  for (const schema::Selection& some : parts) {
    if (auto ok = hours_before(some.from_s); !ok) return ok;
    if (auto ok = cells(some); !ok) return ok;
  }
  return hours_before(which.to_s);
}

Result<void> add_places(const schema::Summary& stored, const ReachOptions& options,
                        ReachBuilder& to) {
  const auto hour = read_summary(stored);
  if (!hour) return tl::unexpected(hour.error());
  if (const auto fits = summary_sectors_in(options.sector_deg); !fits)
    return tl::unexpected(fits.error());
  if (options.band_edges_ft != ReachOptions().band_edges_ft)
    return fail(Errc::bad_usage, "only summaries by fixed altitude bands are left of some hours");
  to.add(*hour);
  return {};
}

FlightHours::Decode hours_by_sector(double sector_deg, const FlightsById& flights) {
  return [n_in_one = summary_sectors_in(sector_deg),
          &flights](const schema::Summary& stored) -> Result<HourExposure> {
    if (!n_in_one) return tl::unexpected(n_in_one.error());
    auto hour = read_exposure(stored);
    if (!hour) return hour;
    name_flights(*hour, flights);
    widen(*hour, SummaryBins::sector_deg, *n_in_one);
    return hour;
  };
}

}  // namespace roundel::pattern
