// An hour's summary as bytes: whole numbers of variable length, seven bits a byte, least first, the
// top bit set on all but the last (as in LEB128); signed ones folded (0, -1, 1, -2, ...).
#pragma once
#include <string>
#include <string_view>

#include "roundel/pattern/summary.h"

namespace roundel::pattern {

/// Raised with every change to summaries' bytes or to what they are made from.
inline constexpr int summary_method = 3;
/// The first of their bytes: what an older version kept of hours whose cells are gone stays
/// readable. Places of format 1 are without `others`.
inline constexpr int places_format = 2, flights_format = 1;

/// @pre lists are sorted as HourSummary says
std::string summary_bytes(const HourSummary& summary);
/// Without trial and hour. None: these are not such bytes.
/// @param hour_s  windows count from it
std::optional<HourSummary> summary_of(std::string_view bytes, std::int64_t hour_s);

/// What is said of a summary whose bytes are none of ours.
tl::unexpected<Error> not_a_summary(const schema::Summary& stored);

}  // namespace roundel::pattern
