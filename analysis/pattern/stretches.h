// A selection in two kinds of stretches: hours that their summaries answer, and cells.
#pragma once
#include <functional>
#include <utility>
#include <vector>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/hour_exposure.h"
#include "analysis/pattern/hours_ahead.h"
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
                       const std::function<Result<void>(schema::Summary&&)>& hour);

/// Calls `hour` with the summaries of a selection and `cells` with its other parts, in order of
/// time: before a part all earlier hours. Errors of either end it.
/// @param parts  by their begin: parts_by_cells(), or more (hours in them are shown all the same)
/// @param part   what `hour` reads of a summary
Result<void> each_stretch(const schema::Store& store, const schema::Selection& which, Summaries use,
                          const std::vector<schema::Selection>& parts, schema::SummaryPart part,
                          const std::function<Result<void>(schema::Summary&&)>& hour,
                          const std::function<Result<void>(const schema::Selection&)>& cells);

/// Adds what a summary says of places. Errc: corrupt; bad_usage for sectors and bands that
/// summaries cannot tell.
Result<void> add_places(const schema::Summary& stored, const ReachOptions& options,
                        ReachBuilder& to);

using FlightHours = HoursAhead<HourExposure>;

/// Decodes for FlightHours, by sectors so wide. Errc as for add_places().
/// @param flights  outlives this
FlightHours::Decode hours_by_sector(double sector_deg, const FlightsById& flights);

}  // namespace roundel::pattern
