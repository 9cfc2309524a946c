// A selection in two kinds of stretches: hours that their summaries answer, and cells.
#pragma once
#include <functional>
#include <utility>
#include <vector>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/hour_exposure.h"
#include "roundel/pattern/reach.h"
#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::pattern {

/// Which hours are taken from their summaries.
enum class Summaries {
  where_cells_are_gone,  ///< nothing else knows of those
  all,                   ///< whole hours: a year in a second
};

constexpr Summaries summaries_used(bool from_summaries) {
  return from_summaries ? Summaries::all : Summaries::where_cells_are_gone;
}

/// The parts of a selection that no summary answers, by their begin.
Result<std::vector<schema::Selection>> parts_by_cells(const schema::Store& store,
                                                      const schema::Selection& which,
                                                      Summaries use);

/// Calls `hour` with the summaries of a selection, in order of time. Its error ends it.
Result<void> each_hour(const schema::Store& store, const schema::Selection& which, Summaries use,
                       schema::SummaryPart part,
                       const std::function<Result<void>(const schema::Summary&)>& hour);

/// Calls `hour` with the summaries of a selection and `cells` with its other parts, in order of
/// time: before a part all earlier hours. Errors of either end it.
/// @param parts  by their begin: parts_by_cells(), or more (hours in them are shown all the same)
/// @param part   what `hour` reads of a summary
Result<void> each_stretch(const schema::Store& store, const schema::Selection& which, Summaries use,
                          const std::vector<schema::Selection>& parts, schema::SummaryPart part,
                          const std::function<Result<void>(const schema::Summary&)>& hour,
                          const std::function<Result<void>(const schema::Selection&)>& cells);

/// Adds what a summary says of places. Errc: corrupt; bad_usage for sectors and bands that
/// summaries cannot tell.
Result<void> add_places(const schema::Summary& stored, const ReachOptions& options,
                        ReachBuilder& to);

/// What summaries say of flights, by sectors so wide: read many hours beside each other, and handed
/// on in their order while the next are read. An hour that says nothing is left out: its cells may
/// have gone before there were such details.
class FlightHours {
 public:
  /// Called by one thread at a time, which need not be the caller's.
  using Take = std::function<void(schema::Id trial, HourExposure)>;

  /// What goes on beside the taking, with what was taken before; called again and again, by one
  /// thread at a time.
  using Beside = std::vector<std::function<void()>>;

  /// @param flights  outlives this
  FlightHours(double sector_deg, const FlightsById& flights, Take take, Beside beside = {})
      : sector_deg_(sector_deg),
        flights_(flights),
        take_(std::move(take)),
        beside_(std::move(beside)) {}

  /// Errc as for add_places(); of an earlier hour, too.
  Result<void> add(const schema::Summary& stored);
  /// All that was added has been handed on.
  Result<void> finish();

 private:
  struct Coming {
    schema::Summary stored;
    Result<HourExposure> hour;
  };
  Result<void> read_some();

  double sector_deg_;
  const FlightsById& flights_;
  Take take_;
  Beside beside_;
  std::vector<Coming> coming_, read_;
};

}  // namespace roundel::pattern
