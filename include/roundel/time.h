// Points in time as text and as seconds. All time in Roundel is UTC, counted in seconds since
// 1970-01-01T00:00:00Z without leap seconds (POSIX).
#pragma once
#include <cstdint>
#include <string>
#include <string_view>

#include "roundel/result.h"

namespace roundel {

/// Unix seconds from "1764000000", "1764000000.125", RFC 3339 "2026-03-01T12:00:00.5Z" (any offset;
/// a space or lower-case t for T), or a bare date "2026-03-01" (its midnight UTC).
/// A leap second :60 counts as the second after :59. Errc::malformed names the text.
Result<double> parse_time(std::string_view text);

/// "2026-03-01T12:00:00Z"; the fraction is dropped.
std::string format_time(double time_s);

/// What the computer's clock shows.
double now_s();

}  // namespace roundel
