#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "roundel/present/compare.h"

namespace roundel::present {

std::string compare_svg(const trial::Comparison& comparison, Form form) {
  // Rings every 1 or 2 dB around no difference, wide enough for the band.
  double farthest_db = 2;
  for (const auto& sector : comparison.sectors)
    if (sector.difference_db)
      farthest_db = std::max({farthest_db, std::abs(*sector.low_db), std::abs(*sector.high_db)});
  farthest_db = std::min(farthest_db, 20.0);
  const double step = farthest_db > 10 ? 5 : farthest_db > 4 ? 2 : 1;

  PolarFrame frame;
  frame.id = "difference";
  frame.title =
      fmt::format("Difference by bearing: {} less {}", comparison.name_a, comparison.name_b);
  frame.sentence = compare_sentence(comparison);
  frame.description = fmt::format(
      "Polar plot, north up, clockwise. Difference in dB for each of {} sectors, "
      "outwards where {} hears more, with its {:.0f} percent interval. {}",
      comparison.sectors.size(), comparison.name_a, 100 * comparison.options.confidence,
      frame.sentence);
  frame.around_zero(farthest_db, step);
  PolarPlot plot(std::move(frame));
  PolarPlot::Values value, low, high;
  std::vector<bool> sure, unknown;
  for (const auto& sector : comparison.sectors) {
    value.push_back(sector.difference_db);
    low.push_back(sector.low_db);
    high.push_back(sector.high_db);
    sure.push_back(sector.significant);
    unknown.push_back(!sector.difference_db);
  }
  plot.band(low, high, Fill::level_2,
            fmt::format("{:.0f}% interval, by flight", 100 * comparison.options.confidence));
  plot.outline(PolarPlot::Values(value.size(), 0.0), Line::limit_1, "no difference");
  plot.outline(value, Line::strong,
               fmt::format("{} less {}", comparison.name_a, comparison.name_b));
  plot.rim(sure, Mark::block, "surely different");
  plot.rim(unknown, Mark::hatch, "too few flights to compare");
  return plot.svg(form);
}

}  // namespace roundel::present
