#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "roundel/present/polar_plot.h"
#include "roundel/present/verdict.h"

namespace roundel::present {

std::string verdict_svg(const pattern::Verdict& verdict, const std::string& about, Form form) {
  // Rings every 1 or 2 dB around the mean, wide enough for the band.
  double farthest_db = 3;
  for (const auto& sector : verdict.sectors) {
    if (!sector.gain_db) continue;
    farthest_db = std::max({farthest_db, std::abs(*sector.low_db), std::abs(*sector.high_db)});
  }
  const double step = farthest_db > 4 ? 2 : 1;

  PolarFrame frame;
  frame.id = "gain";
  frame.title = about.empty() ? "Gain by bearing" : "Gain by bearing: " + about;
  frame.sentence = verdict_sentence(verdict);
  frame.description = fmt::format(
      "Polar plot, north up, clockwise. Relative gain in dB for each of {} sectors, mean zero, "
      "with "
      "its {:.0f} percent interval. {}",
      verdict.sectors.size(), 100 * verdict.options.confidence, frame.sentence);
  frame.around_zero(farthest_db, step);

  PolarPlot plot(std::move(frame));
  PolarPlot::Values value, low, high;
  std::vector<bool> obstructed, falls, unjudged;
  for (const auto& sector : verdict.sectors) {
    value.push_back(sector.gain_db);
    low.push_back(sector.low_db);
    high.push_back(sector.high_db);
    obstructed.push_back(sector.state == pattern::State::obstructed);
    falls.push_back(sector.state == pattern::State::signal);
    unjudged.push_back(sector.state == pattern::State::unjudged);
  }
  plot.band(low, high, Fill::level_2,
            fmt::format("{:.0f}% interval, by flight", 100 * verdict.options.confidence));
  plot.outline(PolarPlot::Values(value.size(), 0.0), Line::limit_1, "mean gain");
  plot.outline(value, Line::strong, "gain");
  plot.rim(obstructed, Mark::block, "hidden by the site at low elevation");
  plot.rim(unjudged, Mark::hatch, "too little traffic to judge");
  plot.remark(fmt::format("{} flights, {} cells of 10 s", grouped(verdict.flights),
                          grouped(verdict.cells)));
  return plot.svg(form);
}

}  // namespace roundel::present
