#include <fmt/format.h>

#include "analysis/present/report_sections.h"

namespace roundel::present {

void sector_table(Svg& html, const ReportPage& page) {
  const std::string range(range_unit(page.units));
  heading(html, "Sector by sector");
  paragraph(html, fmt::format(
                      "Gain is relative to the mean over bearings, with its {:.0f} % interval by "
                      "flight. Reach is the farthest range that three reports of one flight "
                      "within a minute support, held against the horizon ({}) at that aircraft's "
                      "height. Half rate: the range at which half the reports get through (95 %). "
                      "–: too little to tell.",
                      100 * page.verdict.options.confidence, page.reach.limit_method));
  html.open("div", {{"class", "wide"}});
  html.open("table");
  html.open("thead");
  table_row(html,
            {"bearing", "gain, dB", "interval", "state", "cut-off, °", "reach, " + range,
             "of horizon", "half rate, " + range, "flights", "cells"},
            true);
  html.close();
  html.open("tbody");
  const double half_deg = page.reach.sector_deg / 2;
  for (std::size_t i = 0; i < page.reach.sectors.size(); ++i) {
    const auto& sector = page.reach.sectors[i];
    const auto& judged = page.verdict.sectors[i];
    const auto in = [&](double range_km) {
      return fmt::format("{:.0f}", range_in(page.units, range_km));
    };
    std::string half_rate = "–";
    if (sector.half_rate)
      half_rate =
          fmt::format("{} ({}–{})", in(sector.half_rate->range_km), in(sector.half_rate->low_km),
                      sector.half_rate->high_km ? in(*sector.half_rate->high_km) : "");
    table_row(
        html,
        {bearing_text(sector.bearing_deg - half_deg) + "–" +
             bearing_text(sector.bearing_deg + half_deg),
         judged.gain_db ? fmt::format("{:+.1f}", *judged.gain_db) : "–",
         judged.gain_db ? fmt::format("{:+.1f} to {:+.1f}", *judged.low_db, *judged.high_db) : "–",
         std::string(name_of(judged.state)),
         judged.cutoff_deg ? fmt::format("{:.1f}", *judged.cutoff_deg) : "–",
         sector.farthest ? in(sector.farthest->range_km) : "–",
         sector.farthest ? fmt::format("{:.0f} %", 100 * sector.farthest->ratio()) : "–", half_rate,
         grouped(sector.flights), grouped(sector.cells)},
        false);
  }
  html.close();
  html.close();
  html.close();
}

}  // namespace roundel::present
