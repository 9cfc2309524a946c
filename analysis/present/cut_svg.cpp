#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "roundel/present/axes_plot.h"
#include "roundel/present/vertical_cut.h"

namespace roundel::present {
namespace {

/// Shares heard in steps, faintest first.
struct Step {
  double below;
  Fill fill;
  const char* legend;
};
constexpr std::array steps{
    Step{0.05, Fill::level_1, "below 5 % heard"}, Step{0.25, Fill::level_2, "5 to 25 %"},
    Step{0.5, Fill::level_3, "25 to 50 %"}, Step{0.75, Fill::level_4, "50 to 75 %"},
    Step{2, Fill::level_5, "75 % or more"}};

}  // namespace

std::string cut_svg(const pattern::Cut& cut, Units units, const std::string& title) {
  const auto at = [&](const pattern::CutPoint& point) {
    return AxesPlot::At{range_in(units, point.range_km), altitude_in(units, point.altitude_ft)};
  };
  double far_km = 50;
  for (const auto& bin : cut.bins)
    far_km = std::max(far_km, bin.middle.range_km + cut.range_step_km / 2);
  for (const auto& point : cut.horizon)
    if (point.altitude_ft <= cut_top_ft) far_km = std::max(far_km, point.range_km);
  PolarFrame frame;
  frame.id = "cut";
  frame.title = title;
  frame.sentence = cut_sentence(cut, units);
  frame.description =
      "Range to the right, altitude upwards: share of reports heard in each bin, the radio horizon "
      "and lines of constant elevation. " +
      frame.sentence;
  AxesPlot plot(std::move(frame),
                round_axis(0, range_in(units, far_km), fmt::format("range, {}", range_unit(units))),
                round_axis(0, altitude_in(units, cut_top_ft),
                           fmt::format("altitude, {}", altitude_unit(units))));
  for (const Step& step : steps) {
    std::vector<std::pair<AxesPlot::At, AxesPlot::At>> boxes;
    for (const auto& bin : cut.bins) {
      const double share = static_cast<double>(bin.heard) / static_cast<double>(bin.expected);
      const auto of = std::find_if(steps.begin(), steps.end(),
                                   [&](const Step& one) { return share < one.below; });
      if (&*of != &step) continue;
      const double half_km = cut.range_step_km / 2, half_ft = cut.altitude_step_ft / 2;
      boxes.emplace_back(at({bin.middle.range_km - half_km, bin.middle.altitude_ft - half_ft}),
                         at({bin.middle.range_km + half_km, bin.middle.altitude_ft + half_ft}));
    }
    plot.boxes(std::move(boxes), step.fill, step.legend);
  }
  const auto line = [&](const std::vector<pattern::CutPoint>& points) {
    std::vector<AxesPlot::At> out;
    for (const auto& point : points) out.push_back(at(point));
    return out;
  };
  std::string drawn;
  for (const auto& one : cut.elevations) {
    if (one.elevation_deg == cut.cutoff_deg()) continue;
    drawn += fmt::format("{}{:g}", drawn.empty() ? "" : ", ", one.elevation_deg);
    plot.line(line(one.line), Line::limit_1, "");
  }
  plot.line({}, Line::limit_1, fmt::format("elevations of {} degrees ({})", drawn, cut.refraction));
  for (const auto& one : cut.elevations)
    if (one.elevation_deg == cut.cutoff_deg())
      plot.line(line(one.line), Line::limit_2,
                fmt::format("cut-off, {:.1f} degrees", one.elevation_deg));
  plot.line(line(cut.horizon), Line::limit_3, fmt::format("horizon ({})", cut.limit_method));
  return plot.svg();
}

}  // namespace roundel::present
