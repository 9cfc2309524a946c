#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "roundel/present/polar_plot.h"
#include "roundel/present/reach.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::string band_name(const pattern::ReachBand& band, Units units) {
  if (!band.high_ft) return "above " + altitude_text(units, band.low_ft);
  if (band.low_ft == 0) return "below " + altitude_text(units, *band.high_ft);
  return fmt::format("{} to {}", altitude_text(units, band.low_ft),
                     altitude_text(units, *band.high_ft));
}

/// Highest band lightest: lower ones lie over it, nearer in.
Fill fill_of(std::size_t band, std::size_t n_bands) {
  constexpr std::array fills{Fill::level_1, Fill::level_2, Fill::level_3, Fill::level_4,
                             Fill::level_5};
  return fills[std::min(n_bands - 1 - band, fills.size() - 1)];
}

std::string period(const pattern::Reach& reach) {
  if (!reach.from_s) return "";
  const auto minute = [](std::int64_t time_s) {
    std::string text = format_time(static_cast<double>(time_s)).substr(0, 16);
    std::replace(text.begin(), text.end(), 'T', ' ');
    return text;
  };
  return fmt::format("{} to {} UTC, {} flights, {} reports", minute(*reach.from_s),
                     minute(*reach.to_s), grouped(reach.flights), grouped(reach.reports));
}

}  // namespace

std::string reach_svg(const pattern::Reach& reach, Units units, const std::string& about,
                      Form form) {
  double highest_km = reach.farthest ? reach.farthest->range_km : 0;
  for (const auto& line : reach.limits)
    for (double range_km : line.range_km) highest_km = std::max(highest_km, range_km);

  PolarFrame frame;
  frame.id = "reach";
  frame.title = about.empty() ? "Reach" : "Reach: " + about;
  frame.sentence = reach_sentence(reach, units);
  frame.description = fmt::format(
      "Polar plot, north up, clockwise. For each of {} sectors of {} degrees the farthest range "
      "that reports support, by altitude, with the radio horizon ({}) of {} altitudes. {} {}",
      reach.sectors.size(), reach.sector_deg, reach.limit_method, reach.limits.size(),
      frame.sentence, beyond_sentence(reach, units));
  set_rings(frame, range_in(units, std::max(highest_km, 1.0)), range_unit(units));

  PolarPlot plot(std::move(frame));
  const std::size_t n_bands = reach.sectors.empty() ? 0 : reach.sectors[0].by_altitude.size();
  for (std::size_t band = n_bands; band-- > 0;) {
    PolarPlot::Values values;
    for (const auto& sector : reach.sectors) {
      const auto& farthest = sector.by_altitude[band].farthest;
      values.push_back(farthest ? std::optional(range_in(units, farthest->range_km))
                                : std::nullopt);
    }
    plot.wedges(values, fill_of(band, n_bands),
                "aircraft " + band_name(reach.sectors[0].by_altitude[band], units));
  }
  constexpr std::array lines{Line::limit_1, Line::limit_2, Line::limit_3};
  for (std::size_t i = 0; i < reach.limits.size(); ++i) {
    PolarPlot::Values values;
    for (double range_km : reach.limits[i].range_km) values.emplace_back(range_in(units, range_km));
    const std::string altitude = altitude_text(units, reach.limits[i].altitude_ft);
    plot.outline(values, lines[std::min(i, lines.size() - 1)],
                 fmt::format("horizon at {} ({})", altitude, reach.limit_method), altitude);
  }
  std::vector<bool> short_of;
  std::vector<bool> without;
  for (const auto& sector : reach.sectors) {
    short_of.push_back(sector.farthest && sector.farthest->ratio() < 0.5);
    without.push_back(!sector.farthest);
  }
  plot.rim(short_of, Mark::block, "reaches less than half the horizon");
  plot.rim(without, Mark::hatch, "no traffic to judge by");
  if (reach.from_s) plot.remark(period(reach));
  return plot.svg(form);
}

}  // namespace roundel::present
