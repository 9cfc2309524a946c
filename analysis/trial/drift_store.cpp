// The drift of stored cells and summaries.
#include <algorithm>
#include <utility>

#include "analysis/pattern/horizon_table.h"
#include "analysis/pattern/hour_exposure_bytes.h"
#include "analysis/pattern/hours_ahead.h"
#include "analysis/pattern/placed_cells.h"
#include "analysis/pattern/stretches.h"
#include "analysis/pattern/summary_bytes.h"
#include "analysis/trial/drift_units.h"
#include "roundel/pattern/summary.h"
#include "roundel/trial/drift.h"

namespace roundel::trial {
namespace {

constexpr double summary_sector_deg = pattern::SummaryBins::sector_deg;

/// Makes a record of summaries and cells, hour by hour.
class LevelHours {
 public:
  /// @param viewpoint  must outlive this
  LevelHours(const site::Viewpoint& viewpoint, LevelRecord record)
      : limit_(site::effective_earth_limit(viewpoint)),
        horizons_(*limit_),
        exposer_(summary_sector_deg),
        record_(std::move(record)) {}

  /// Errc::corrupt; of an earlier one, too.
  Result<void> add(schema::Summary&& stored) {
    take_hour();
    return summaries_.add(std::move(stored));
  }
  /// All that were added are in the record.
  Result<void> take_summaries() { return summaries_.finish(); }
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    if (!exposer_.is_of(cell.window)) take_hour();
    exposer_.add(cell, flight, sighting, horizons_.at(sighting.line.bearing_deg, cell.altitude_ft));
  }
  Result<LevelRecord> finish() {
    take_hour();
    if (auto ok = take_summaries(); !ok) return tl::unexpected(ok.error());
    record_.finish();
    return std::move(record_);
  }

 private:
  void take_hour() {
    if (!exposer_.is_empty()) record_.add(pattern::levels_of(exposer_.take()));
  }

  std::unique_ptr<site::Limit> limit_;
  pattern::HorizonTable horizons_;
  pattern::HourExposer exposer_;  // the hour whose cells come in
  LevelRecord record_;
  // Nothing of it is under way while cells come in.
  pattern::HoursAhead<pattern::HourLevels> summaries_{
      [](const schema::Summary& stored) -> Result<pattern::HourLevels> {
        auto hour = pattern::levels_of(stored.detail.flights, stored.hour_s);
        return hour ? Result<pattern::HourLevels>(std::move(*hour))
                    : pattern::not_a_summary(stored);
      },
      [this](schema::Id, pattern::HourLevels hour) { record_.add(std::move(hour)); }};
};

}  // namespace

Result<Drift> drift(const schema::Store& store, const schema::Selection& which,
                    bool from_summaries) {
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  for (const auto& one : *trials) {
    const auto& first = trials->front();
    if (one.antenna == first.antenna && one.receiver == first.receiver &&
        one.mount == first.mount && one.rotation_deg == first.rotation_deg)
      continue;
    return fail(Errc::bad_usage,
                "the selection holds different arrangements, whose difference is no drift",
                "trials " + std::to_string(first.id) + " and " + std::to_string(one.id),
                "choose one with --antenna, --receiver, --mount or --trial");
  }
  const auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  if (flights->empty())
    return fail(Errc::too_little, "nothing was heard in the trials selected", "",
                "wait for traffic, or choose others");
  LevelHours hours(*viewpoint, LevelRecord(summary_sector_deg, *flights));
  const pattern::Summaries use = pattern::summaries_used(from_summaries);
  // An hour that is summarised, or loses its cells, between the two would be missed or count twice.
  const auto read = store.at_one_moment([&]() -> Result<void> {
    const auto parts = pattern::parts_by_cells(store, which, use);
    if (!parts) return tl::unexpected(parts.error());
    return pattern::each_stretch(
        store, which, use, *parts, schema::SummaryPart::flights,
        [&](schema::Summary&& stored) { return hours.add(std::move(stored)); },
        [&](const schema::Selection& part) {
          if (auto ok = hours.take_summaries(); !ok) return ok;
          return pattern::each_cell_of(
              *flights, store, part, *viewpoint,
              [&](const schema::Cell& cell, const schema::Flight& flight,
                  const site::Sighting& sighting) { hours.add(cell, flight, sighting); });
        });
  });
  if (!read) return tl::unexpected(read.error());
  const auto record = hours.finish();
  if (!record) return tl::unexpected(record.error());
  Drift out = find_drift(*record);
  const auto notes = store.notes();
  if (!notes) return tl::unexpected(notes.error());
  for (const auto& note : *notes)
    if (record->from_s() && note.time_s >= *record->from_s() && note.time_s <= *record->to_s())
      out.notes.push_back(note);
  return out;
}

}  // namespace roundel::trial
