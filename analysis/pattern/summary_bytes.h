// An hour's summary as bytes: whole numbers of variable length, seven bits a byte, least first, the
// top bit set on all but the last (as in LEB128); signed ones folded (0, -1, 1, -2, ...).
#pragma once
#include <string>
#include <string_view>

#include "roundel/pattern/summary.h"

namespace roundel::pattern {

/// Raised with every change to summaries' bytes or to what they are made from.
inline constexpr int summary_method = 4;
/// The first of their bytes: what an older version kept of hours whose cells are gone stays
/// readable. Places of an odd format are without `others`. Before format 3 the bands were cut at
/// 10,000, 20,000 and 30,000 ft: the farthest cells find their band by the altitude beside them,
/// and what was counted by band counts to its sector alone.
inline constexpr int places_format = 4, flights_format = 1;

/// @pre lists are sorted as HourSummary says
std::string summary_bytes(const HourSummary& summary);
/// Without trial and hour. None: these are not such bytes.
/// @param hour_s  windows count from it
std::optional<HourSummary> summary_of(std::string_view bytes, std::int64_t hour_s);

/// What is said of a summary whose bytes are none of ours.
tl::unexpected<Error> not_a_summary(const schema::Summary& stored);

}  // namespace roundel::pattern
