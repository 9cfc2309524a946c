#include <fmt/format.h>

#include <algorithm>

#include "roundel/present/reach.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::int64_t count(const std::vector<bool>& chosen) {
  return std::count(chosen.begin(), chosen.end(), true);
}

}  // namespace

std::string reach_sentence(const pattern::Reach& reach, Units units) {
  if (!reach.from_s) return "Nothing has been recorded here yet.";
  if (reach.cells == 0) return "No report has been heard here, so there is no reach.";
  if (!reach.farthest)
    return fmt::format(
        "{} {} heard, but no three of one aircraft within a minute: too little for a reach.",
        grouped(reach.reports), reach.reports == 1 ? "report was" : "reports were");

  std::vector<bool> short_of(reach.sectors.size());
  std::vector<bool> without(reach.sectors.size());
  for (std::size_t i = 0; i < reach.sectors.size(); ++i) {
    const auto& farthest = reach.sectors[i].farthest;
    without[i] = !farthest;
    short_of[i] = farthest && farthest->ratio() < 0.5;
  }
  const auto& far = *reach.farthest;
  std::string out = fmt::format(
      "Farthest aircraft {} at {} degrees, {:.0f}% of the radio horizon ({}) at its height",
      range_in_both(units, far.range_km), bearing_text(far.bearing_deg), 100 * far.ratio(),
      reach.limit_method);
  const auto n = static_cast<std::int64_t>(reach.sectors.size());
  const std::int64_t n_with = n - count(without);
  const std::int64_t n_short = count(short_of);
  const std::string of = n_with == n ? fmt::format("{} sectors", n)
                                     : fmt::format("the {} sectors with traffic", n_with);
  if (n_short == 0 && n_with == n)
    out += "; no sector reaches less than half the horizon";
  else if (n_short == 0)
    out += "; no sector with traffic reaches less than half the horizon";
  else
    out += fmt::format("; {} of {} {} less than half the horizon: {}", n_short, of,
                       n_short == 1 ? "reaches" : "reach", bearing_ranges(short_of));
  if (n_with < n)
    out += fmt::format("; {} had no traffic to judge by: {}",
                       n - n_with == 1 ? "1 sector" : fmt::format("{} sectors", n - n_with),
                       bearing_ranges(without));
  return out + ".";
}

std::string beyond_sentence(const pattern::Reach& reach, Units units) {
  const auto& beyond = reach.beyond;
  if (!beyond.farthest) return "";
  std::string out = fmt::format(
      "{} {} beyond 105% of the horizon, as far as {}, {} kept apart: ducting or bad positions.",
      grouped(beyond.cells), beyond.cells == 1 ? "cell" : "cells",
      range_in_both(units, beyond.farthest->range_km), beyond.cells == 1 ? "is" : "are");
  if (beyond.hours.empty()) return out;
  constexpr std::size_t most = 8;
  const std::size_t n = beyond.hours.size();
  out += n == 1 ? " One hour is rich in them and counts for no reach: "
                : fmt::format(" {} hours are rich in them and count for no reach: ", n);
  for (std::size_t i = 0; i < std::min(n, most); ++i)
    out += (i > 0 ? ", " : "") + format_time(static_cast<double>(beyond.hours[i].hour_s));
  if (n > most) out += fmt::format(" and {} more", n - most);
  return out + ".";
}

}  // namespace roundel::present
