// A selection in two kinds of stretches: hours that their summaries answer, and cells.
#pragma once
#include <functional>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::pattern {

/// Which hours are taken from their summaries.
enum class Summaries {
  where_cells_are_gone,  ///< nothing else knows of those
  all,                   ///< whole hours: a year in a second
};

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
/// @param part  what `hour` reads of a summary
Result<void> each_stretch(const schema::Store& store, const schema::Selection& which, Summaries use,
                          schema::SummaryPart part,
                          const std::function<Result<void>(const schema::Summary&)>& hour,
                          const std::function<Result<void>(const schema::Selection&)>& cells);

/// Errc::bad_usage for sectors that no whole number of those of summaries makes. The number.
Result<int> summary_sectors_in(double sector_deg);

}  // namespace roundel::pattern
