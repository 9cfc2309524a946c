#include "roundel/present/vertical_cut.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "roundel/pattern/share.h"
#include "roundel/present/axes_plot.h"

namespace roundel::present {
namespace {

std::string sector_name(double middle_deg, double sector_deg) {
  return fmt::format("{} to {} degrees", bearing_text(middle_deg - sector_deg / 2),
                     bearing_text(middle_deg + sector_deg / 2));
}
std::string sector_name(const pattern::Reach& reach, std::size_t sector) {
  return sector_name(reach.sectors[sector].bearing_deg, reach.sector_deg);
}

/// Why the sector's reach ends where it does.
std::string reason(const pattern::SectorVerdict& judged) {
  switch (judged.state) {
    case pattern::State::horizon:
      return "The horizon ends it, not the antenna.";
    case pattern::State::signal:
      return "The signal runs out before the horizon, at every altitude alike.";
    case pattern::State::obstructed:
      return fmt::format(
          "Nothing below {:.1f} degrees ({:.1f} to {:.1f}) is heard at any range: an obstruction, "
          "not the antenna.",
          judged.cutoff_deg.value_or(0), judged.cutoff_low_deg.value_or(0),
          judged.cutoff_high_deg.value_or(0));
    case pattern::State::unjudged:
      break;
  }
  return "Too few flights to say why.";
}

}  // namespace

std::optional<ExtremeSectors> extreme_sectors(const pattern::Reach& reach) {
  std::optional<ExtremeSectors> out;
  for (std::size_t i = 0; i < reach.sectors.size(); ++i) {
    if (!reach.sectors[i].farthest) continue;
    const double ratio = reach.sectors[i].farthest->ratio();
    if (!out) out = ExtremeSectors{i, i};
    if (ratio < reach.sectors[out->worst].farthest->ratio()) out->worst = i;
    if (ratio > reach.sectors[out->best].farthest->ratio()) out->best = i;
  }
  return out;
}

std::string vertical_cut_sentence(const pattern::Reach& reach, const pattern::Verdict& verdict,
                                  std::size_t sector, Units units) {
  const auto& of = reach.sectors[sector];
  const auto& judged = verdict.sectors[sector];
  std::string out = fmt::format("{}: ", sector_name(reach, sector));
  if (!of.farthest) return out + "no traffic to judge by.";
  out += fmt::format("heard to {}, {:.0f} % of the horizon ({}) at {}; {} flights. ",
                     range_in_both(units, of.farthest->range_km), 100 * of.farthest->ratio(),
                     reach.limit_method, altitude_text(units, of.farthest->altitude_ft),
                     grouped(of.flights));
  return out + reason(judged);
}

std::string cut_sentence(const pattern::Cut& cut, Units units) {
  std::string out = sector_name(cut.bearing_deg, cut.sector_deg) + ": ";
  if (cut.n_flights == 0) return out + "nothing has been heard there.";
  std::int64_t heard = 0, expected = 0;
  double farthest_km = 0;
  for (const auto& hour : cut.hours) heard += hour.heard, expected += hour.expected;
  for (const auto& flight : cut.flights) farthest_km = std::max(farthest_km, flight.farthest_km);
  const auto n_hours = static_cast<std::int64_t>(cut.hours.size());
  out += fmt::format("{} {} in {} {} with traffic", grouped(cut.n_flights),
                     cut.n_flights == 1 ? "flight" : "flights", grouped(n_hours),
                     n_hours == 1 ? "hour" : "hours");
  if (expected > 0)
    out += fmt::format(", {:.0f} % of {} chances heard",
                       100 * static_cast<double>(heard) / static_cast<double>(expected),
                       grouped(expected));
  out += fmt::format(", farthest {}.", range_in_both(units, farthest_km));
  if (!cut.judged) return out;
  if (const auto n = cut.judged->far_flights; n > 0) {
    const auto share = pattern::wilson(cut.judged->far_heard, n, 0.95);
    out += fmt::format(" Near the horizon {} of {} {} heard ({:.0f} to {:.0f} % of such).",
                       grouped(cut.judged->far_heard), grouped(n),
                       n == 1 ? "flight was" : "flights were", 100 * share.low, 100 * share.high);
  }
  out += " " + reason(*cut.judged);
  return out;
}

std::string vertical_cut_svg(const site::Viewpoint& viewpoint, const pattern::Reach& reach,
                             const pattern::Verdict& verdict, std::size_t sector, Units units,
                             const std::string& id, Form form) {
  const auto& of = reach.sectors[sector];
  const double far_km = viewpoint.horizon_km(of.bearing_deg, cut_top_ft);
  const auto at = [&](double range_km, double altitude_ft) {
    return AxesPlot::At{range_in(units, range_km), altitude_in(units, altitude_ft)};
  };
  PolarFrame frame;
  frame.id = id;
  frame.title = "Vertical cut, " + sector_name(reach, sector);
  frame.sentence = vertical_cut_sentence(reach, verdict, sector, units);
  frame.description =
      "Range to the right, altitude upwards: the radio horizon, and the farthest aircraft heard in "
      "each band of altitude. " +
      frame.sentence;
  AxesPlot plot(std::move(frame),
                round_axis(0, range_in(units, far_km), fmt::format("range, {}", range_unit(units))),
                round_axis(0, altitude_in(units, cut_top_ft),
                           fmt::format("altitude, {}", altitude_unit(units))));
  std::vector<AxesPlot::At> horizon;
  for (double altitude_ft = 0; altitude_ft <= 60'000; altitude_ft += 500)
    horizon.push_back(at(viewpoint.horizon_km(of.bearing_deg, altitude_ft), altitude_ft));
  auto below = horizon;
  below.push_back(at(2 * far_km, 60'000));
  below.push_back(at(2 * far_km, 0));
  plot.area(std::move(below), Fill::level_1, "below the horizon");
  if (const auto cutoff_deg = verdict.sectors[sector].cutoff_deg) {
    std::vector<AxesPlot::At> line, hidden;
    for (int i = 0; i <= 40; ++i) {
      const double range_km = far_km * i / 40;
      const auto altitude_ft =
          pattern::altitude_ft_at(viewpoint, {range_km, of.bearing_deg}, *cutoff_deg);
      if (altitude_ft) line.push_back(at(range_km, *altitude_ft));
    }
    hidden = line;
    hidden.push_back(at(far_km, 0));
    for (auto on = horizon.rbegin(); on != horizon.rend(); ++on)
      if (on->x <= range_in(units, far_km)) hidden.push_back(*on);
    plot.area(std::move(hidden), Fill::accent, "hidden by the site");
    plot.line(std::move(line), Line::limit_2, fmt::format("cut-off, {:.1f} degrees", *cutoff_deg));
  }
  plot.line(std::move(horizon), Line::limit_3, fmt::format("horizon ({})", reach.limit_method));
  std::vector<AxesPlot::At> farthest;
  for (const auto& band : of.by_altitude)
    if (band.farthest) farthest.push_back(at(band.farthest->range_km, band.farthest->altitude_ft));
  plot.marks(std::move(farthest), "farthest aircraft of each band of altitude");
  return plot.svg(form);
}

}  // namespace roundel::present
