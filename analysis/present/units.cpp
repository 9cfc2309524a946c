#include "roundel/present/units.h"

#include <fmt/format.h>

#include <cmath>

#include "roundel/site/sightline.h"

namespace roundel::present {

Result<Units> parse_units(std::string_view text) {
  if (text == "metric") return Units::metric;
  if (text == "aviation") return Units::aviation;
  return fail(Errc::bad_usage, fmt::format("unknown units \"{}\"", text), "--units",
              "choose metric or aviation");
}

double range_in(Units units, double range_km) {
  return units == Units::metric ? range_km : range_km / site::km_per_nautical_mile;
}

double range_km_of(Units units, double range) {
  return units == Units::metric ? range : range * site::km_per_nautical_mile;
}

std::string_view range_unit(Units units) { return units == Units::metric ? "km" : "NM"; }

std::string range_text(Units units, double range_km) {
  const double range = range_in(units, range_km);
  return fmt::format("{:.{}f} {}", range, range < 9.95 ? 1 : 0, range_unit(units));
}

std::string range_in_both(Units units, double range_km) {
  const Units other = units == Units::metric ? Units::aviation : Units::metric;
  return fmt::format("{} ({})", range_text(units, range_km), range_text(other, range_km));
}

double altitude_in(Units units, double altitude_ft) {
  return units == Units::aviation ? altitude_ft : altitude_ft * site::metres_per_foot;
}

std::string_view altitude_unit(Units units) { return units == Units::aviation ? "ft" : "m"; }

std::string altitude_text(Units units, double altitude_ft) {
  const double step = units == Units::aviation ? 1 : 10;
  const auto altitude = std::lround(std::round(altitude_in(units, altitude_ft) / step) * step);
  return fmt::format("{} {}", grouped(altitude), altitude_unit(units));
}

std::string bearing_text(double bearing_deg) {
  return fmt::format("{:03}", std::lround(bearing_deg) % 360);
}

std::string grouped(std::int64_t count) {
  std::string digits = std::to_string(count);
  const std::size_t first = count < 0 ? 1 : 0;
  for (std::size_t at = digits.size(); at > first + 3;) digits.insert(at -= 3, 1, ' ');
  return digits;
}

std::string address_text(std::uint64_t address) {
  return fmt::format("{:0{}x}", address, address < (1U << 24) ? 6 : 16);
}

std::string bearing_ranges(const std::vector<bool>& chosen) {
  const std::size_t n = chosen.size();
  std::size_t open = 0;  // a sector that is not chosen, where no range can be cut in two
  while (open < n && chosen[open]) ++open;
  if (n == 0) return "";
  if (open == n) return "all bearings";
  constexpr std::size_t most = 6;
  std::vector<std::string> ranges;
  const double width_deg = 360.0 / static_cast<double>(n);
  // From there once around; a range that runs over north comes last.
  for (std::size_t i = 0; i < n;) {
    if (!chosen[(open + i) % n]) {
      ++i;
      continue;
    }
    const std::size_t first = i;
    while (i < n && chosen[(open + i) % n]) ++i;
    ranges.push_back(fmt::format("{} to {}",
                                 bearing_text(static_cast<double>((open + first) % n) * width_deg),
                                 bearing_text(static_cast<double>((open + i) % n) * width_deg)));
  }
  if (ranges.empty()) return "";
  std::string out;
  for (std::size_t i = 0; i < std::min(most, ranges.size()); ++i)
    out += (i > 0 ? ", " : "") + ranges[i];
  out += " degrees";
  if (ranges.size() > most) out += fmt::format(" and {} more", ranges.size() - most);
  return out;
}

std::string bytes_text(std::int64_t bytes) {
  const auto value = static_cast<double>(bytes);
  return bytes < 1'000'000 ? fmt::format("{:.0f} kB", value / 1e3)
                           : fmt::format("{:.1f} MB", value / 1e6);
}

}  // namespace roundel::present
