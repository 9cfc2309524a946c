#include "roundel/time.h"

#include <fmt/format.h>

#include <charconv>
#include <chrono>
#include <cmath>
#include <ctime>

namespace roundel {
namespace {

// Days since 1970-01-01 of a proleptic Gregorian date (H. Hinnant, "chrono-compatible low-level
// date algorithms", public domain; from memory).
constexpr std::int64_t days_from_civil(int year, int month, int day) {
  year -= month <= 2;
  const int era = (year >= 0 ? year : year - 399) / 400;
  const int year_of_era = year - era * 400;
  const int day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
  const int day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
  return std::int64_t{era} * 146097 + day_of_era - 719468;
}

constexpr int days_in_month(int year, int month) {
  constexpr int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : days[month - 1];
}

// Reads from the front of a text; any mismatch leaves ok false.
struct Scanner {
  std::string_view rest;
  bool ok = true;

  int digits(int count, int low, int high) {
    int value = 0;
    if (static_cast<int>(rest.size()) < count) return ok = false, 0;
    for (int i = 0; i < count; ++i) {
      const char c = rest[static_cast<std::size_t>(i)];
      if (c < '0' || c > '9') return ok = false, 0;
      value = value * 10 + (c - '0');
    }
    rest.remove_prefix(static_cast<std::size_t>(count));
    if (value < low || value > high) ok = false;
    return value;
  }
  bool take(std::string_view any) {
    if (rest.empty() || any.find(rest.front()) == std::string_view::npos) return false;
    rest.remove_prefix(1);
    return true;
  }
  void require(std::string_view any) {
    if (!take(any)) ok = false;
  }
  double fraction() {
    double value = 0, scale = 0.1;
    if (rest.empty() || rest.front() < '0' || rest.front() > '9') ok = false;
    while (!rest.empty() && rest.front() >= '0' && rest.front() <= '9') {
      value += scale * (rest.front() - '0');
      scale /= 10;
      rest.remove_prefix(1);
    }
    return value;
  }
};

}  // namespace

Result<double> parse_time(std::string_view text) {
  const auto refuse = [&] {
    return fail(Errc::malformed, fmt::format("\"{}\" is not a time", text.substr(0, 40)), {},
                "write Unix seconds or RFC 3339, like 2026-03-01T12:00:00Z");
  };
  double unix_s{};
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), unix_s, std::chars_format::fixed);
  if (error == std::errc{} && end == text.data() + text.size()) {
    // Beyond the year 9999 it is not seconds (milliseconds, most likely).
    if (!std::isfinite(unix_s) || std::abs(unix_s) > 253402300799.0) return refuse();
    return unix_s;
  }

  Scanner in{text};
  const int year = in.digits(4, 0, 9999);
  in.require("-");
  const int month = in.digits(2, 1, 12);
  in.require("-");
  const int day = in.digits(2, 1, 31);
  if (!in.ok || day > days_in_month(year, month)) return refuse();
  double time_s = static_cast<double>(days_from_civil(year, month, day)) * 86400.0;
  if (in.rest.empty()) return time_s;

  in.require("Tt ");
  const int hour = in.digits(2, 0, 23);
  in.require(":");
  const int minute = in.digits(2, 0, 59);
  in.require(":");
  const int second = in.digits(2, 0, 60);
  time_s += hour * 3600.0 + minute * 60.0 + second;
  if (in.take(".,")) time_s += in.fraction();
  if (!in.take("Zz")) {
    const bool west = !in.rest.empty() && in.rest.front() == '-';
    in.require("+-");
    const int offset_hour = in.digits(2, 0, 23);
    in.require(":");
    const int offset_minute = in.digits(2, 0, 59);
    time_s += (west ? 1 : -1) * (offset_hour * 3600.0 + offset_minute * 60.0);
  }
  if (!in.ok || !in.rest.empty()) return refuse();
  return time_s;
}

std::string format_time(double time_s) {
  const auto whole = static_cast<std::time_t>(std::floor(time_s));
  std::tm parts{};
  gmtime_r(&whole, &parts);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z", parts.tm_year + 1900, parts.tm_mon + 1,
                     parts.tm_mday, parts.tm_hour, parts.tm_min, parts.tm_sec);
}

double now_s() {
  return std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count();
}

}  // namespace roundel
