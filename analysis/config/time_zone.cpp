#include "roundel/config/time_zone.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <fstream>
#include <iterator>
#include <string_view>

namespace roundel::config {
namespace {

constexpr std::int64_t day_s = 86400;
constexpr std::size_t tzif_header_bytes = 44, largest_tzif = 1 << 20;

// Whole numbers in network byte order.
std::int64_t number_at(std::string_view bytes, std::size_t at, std::size_t n_bytes) {
  std::uint64_t value = (bytes[at] & 0x80) != 0 ? ~std::uint64_t{0} : 0;
  for (std::size_t i = 0; i < n_bytes; ++i)
    value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
  return static_cast<std::int64_t>(value);
}

// The counts in a TZif header (RFC 8536, section 3.1).
struct Counts {
  std::size_t is_ut, is_std, leap, time, type, chars;
  static Counts at(std::string_view bytes, std::size_t begin) {
    const auto count = [&](std::size_t n) {
      return static_cast<std::size_t>(number_at(bytes, begin + 20 + 4 * n, 4) & 0xffffffff);
    };
    return {count(0), count(1), count(2), count(3), count(4), count(5)};
  }
  std::size_t data_bytes(std::size_t time_bytes) const {
    return time * (time_bytes + 1) + type * 6 + chars + leap * (time_bytes + 4) + is_std + is_ut;
  }
};

// Days from 1970-01-01 of a date in the Gregorian calendar (H. Hinnant, "chrono-Compatible
// Low-Level Date Algorithms", days_from_civil).
std::int64_t day_of(int year, int month, int day) {
  const int y = year - (month <= 2 ? 1 : 0), era = (y >= 0 ? y : y - 399) / 400;
  const int of_era = y - era * 400;
  const int of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
  return std::int64_t{era} * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

int year_of(double utc_s) {
  const auto day = static_cast<std::int64_t>(std::floor(utc_s / static_cast<double>(day_s)));
  int year = 1970 + static_cast<int>(static_cast<double>(day) / 365.2425);
  while (day < day_of(year, 1, 1)) --year;
  while (day >= day_of(year + 1, 1, 1)) ++year;
  return year;
}

// Reads a footer's parts from its front (POSIX.1, "TZ"); `ok` tells whether all were there.
struct RuleScanner {
  std::string_view rest;
  bool ok = true;

  bool take(char c) {
    if (!rest.starts_with(c)) return false;
    rest.remove_prefix(1);
    return true;
  }
  int digits() {
    int value = 0;
    ok = ok && !rest.empty() && std::isdigit(static_cast<unsigned char>(rest.front())) != 0;
    for (int n = 0; n < 4 && !rest.empty() && rest.front() >= '0' && rest.front() <= '9'; ++n) {
      value = value * 10 + (rest.front() - '0');
      rest.remove_prefix(1);
    }
    return value;
  }
  void name() {
    const bool is_quoted = rest.starts_with('<');
    const std::size_t end = is_quoted ? rest.find('>') : rest.find_first_of("+-0123456789,");
    ok = ok && end != std::string_view::npos && end > 0;
    if (ok) rest.remove_prefix(end + (is_quoted ? 1 : 0));
  }
  int time_s() {  // [+-]hh[:mm[:ss]]
    const bool is_negative = take('-');
    if (!is_negative) take('+');
    int value = digits() * 3600;
    if (take(':')) value += digits() * 60;
    if (take(':')) value += digits();
    return is_negative ? -value : value;
  }
  int number_after(char c) {
    ok = ok && take(c);
    return digits();
  }
};

}  // namespace

std::int64_t TimeZone::Date::local_s(int year) const {
  const std::int64_t first = day_of(year, month, 1);
  const auto weekday_of_first = static_cast<int>((first % 7 + 11) % 7);  // 1970-01-01: Thursday
  std::int64_t day = first + (weekday - weekday_of_first + 7) % 7 + 7 * (week - 1);
  const std::int64_t next = month == 12 ? day_of(year + 1, 1, 1) : day_of(year, month + 1, 1);
  while (day >= next) day -= 7;
  return day * day_s + time_s;
}

void TimeZone::read_footer(std::string_view rule) {
  RuleScanner in{rule};
  in.name();
  const int standard_s = -in.time_s();
  if (!in.ok || in.rest.empty()) return;
  in.name();
  const int summer_s =
      in.ok && !in.rest.empty() && in.rest.front() != ',' ? -in.time_s() : standard_s + 3600;
  Date dates[2];
  for (Date& date : dates) {
    in.ok = in.ok && in.take(',');
    date.month = in.number_after('M');
    date.week = in.number_after('.');
    date.weekday = in.number_after('.');
    if (in.take('/')) date.time_s = in.time_s();
    in.ok = in.ok && date.month >= 1 && date.month <= 12 && date.week >= 1 && date.week <= 5 &&
            date.weekday <= 6;
  }
  if (!in.ok || !in.rest.empty()) return;
  changes_every_year_ = true;
  standard_s_ = standard_s;
  summer_s_ = summer_s;
  summer_begins_ = dates[0];
  summer_ends_ = dates[1];
}

Result<TimeZone> TimeZone::load(const std::string& name, const std::filesystem::path& folder) {
  TimeZone out;
  out.offsets_ = {0};
  if (name == "UTC") return out;
  const auto is_name_character = [](char c) {
    return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '/' || c == '_' || c == '-' ||
           c == '+';
  };
  const auto unknown = [&] {
    return fail(Errc::bad_config, fmt::format("there is no time zone \"{}\"", name), {},
                "use a name of the tz database, like \"Europe/Vienna\", or \"UTC\"");
  };
  if (name.empty() || name.front() == '/' ||
      !std::all_of(name.begin(), name.end(), is_name_character))
    return unknown();
  std::error_code ignored;
  const std::filesystem::path file = folder / name;
  if (!std::filesystem::is_regular_file(file, ignored)) {
    if (std::filesystem::is_directory(folder, ignored)) return unknown();
    return fail(Errc::bad_config, "the tz database is not installed", folder.string(),
                "install it (Debian's package is tzdata)");
  }
  std::ifstream in(file, std::ios::binary);
  std::string bytes(std::istreambuf_iterator<char>(in), {});
  const auto corrupt = [&] {
    return fail(Errc::corrupt, "is no TZif file of version 2 or later", file.string());
  };
  if (bytes.size() < tzif_header_bytes || bytes.size() > largest_tzif ||
      !bytes.starts_with("TZif") || bytes[4] < '2')
    return corrupt();
  // First come the same data with 32-bit times, for old readers.
  const std::size_t second = tzif_header_bytes + Counts::at(bytes, 0).data_bytes(4);
  if (bytes.size() < second + tzif_header_bytes) return corrupt();
  const Counts counts = Counts::at(bytes, second);
  const std::size_t times = second + tzif_header_bytes, types = times + 8 * counts.time,
                    infos = types + counts.time, end = times + counts.data_bytes(8);
  if (bytes.size() < end || counts.type == 0) return corrupt();
  const auto offset_of_type = [&](std::size_t type) {
    return static_cast<int>(number_at(bytes, infos + 6 * std::min(type, counts.type - 1), 4));
  };
  out.offsets_ = {offset_of_type(0)};
  for (std::size_t i = 0; i < counts.time; ++i) {
    out.transitions_.push_back(number_at(bytes, times + 8 * i, 8));
    out.offsets_.push_back(offset_of_type(static_cast<unsigned char>(bytes[types + i])));
  }
  if (!std::is_sorted(out.transitions_.begin(), out.transitions_.end())) return corrupt();
  const std::string_view footer = std::string_view(bytes).substr(end);
  if (footer.size() > 2 && footer.front() == '\n')
    out.read_footer(footer.substr(1, footer.find('\n', 1) - 1));
  return out;
}

int TimeZone::offset_s(double utc_s) const {
  const auto after = std::upper_bound(
      transitions_.begin(), transitions_.end(), utc_s,
      [](double time_s, std::int64_t at) { return time_s < static_cast<double>(at); });
  if (after != transitions_.end() || !changes_every_year_)
    return offsets_[static_cast<std::size_t>(after - transitions_.begin())];
  const int year = year_of(utc_s + standard_s_);
  const auto begins = static_cast<double>(summer_begins_.local_s(year) - standard_s_);
  const auto ends = static_cast<double>(summer_ends_.local_s(year) - summer_s_);
  // South of the equator summer lasts over the new year.
  const bool is_summer =
      begins < ends ? utc_s >= begins && utc_s < ends : utc_s >= begins || utc_s < ends;
  return is_summer ? summer_s_ : standard_s_;
}

TimeZone::Instants TimeZone::of_local(double local_s) const {
  // No zone is farther than a day from UTC, and none changes its clocks twice in two days.
  const int before_s = offset_s(local_s - static_cast<double>(day_s));
  const int after_s = offset_s(local_s + static_cast<double>(day_s));
  const double by_before = local_s - before_s, by_after = local_s - after_s;
  const bool before_holds = offset_s(by_before) == before_s;
  const bool after_holds = offset_s(by_after) == after_s;
  if (before_holds && after_holds)
    return {std::min(by_before, by_after), std::max(by_before, by_after)};
  const double only = after_holds ? by_after : by_before;
  return {only, only};
}

}  // namespace roundel::config
