// Quantities as people read them, in metric or aviation units. For text and pictures; JSON always
// carries the units that its names say.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"

namespace roundel::present {

/// metric: km, m. aviation: NM (1852 m), ft.
enum class Units { metric, aviation };

/// "metric" or "aviation". Errc::bad_usage.
Result<Units> parse_units(std::string_view text);

/// A range in these units, and back.
double range_in(Units units, double range_km);
double range_km_of(Units units, double range);
std::string_view range_unit(Units units);  ///< "km", "NM"

/// "402 km", "217 NM": whole ones, tenths below ten.
std::string range_text(Units units, double range_km);
/// "402 km (217 NM)", "217 NM (402 km)".
std::string range_in_both(Units units, double range_km);

double altitude_in(Units units, double altitude_ft);
std::string_view altitude_unit(Units units);  ///< "m", "ft"
/// "38 000 ft", "11 580 m" (to 10 m).
std::string altitude_text(Units units, double altitude_ft);

/// Three digits, as bearings are spoken: 38.2 is "038", 359.6 is "000".
std::string bearing_text(double bearing_deg);

/// 1234567 as "1 234 567".
std::string grouped(std::int64_t count);

/// "115 kB", "2.4 MB": of 1000 and 1000 000 bytes.
std::string bytes_text(std::int64_t bytes);

/// ICAO addresses as six hex digits; hashed ones, above 24 bits, as sixteen.
std::string address_text(std::uint64_t address);

/// Which bearings the chosen sectors cover, neighbours joined, also across north: "180 to 210, 350
/// to 010 degrees". Beyond six ranges "and 3 more". All: "all bearings". None: "".
/// @param chosen  by sector, clockwise from north, evenly wide
std::string bearing_ranges(const std::vector<bool>& chosen);

}  // namespace roundel::present
