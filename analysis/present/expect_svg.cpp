#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "roundel/present/expect.h"
#include "roundel/present/polar_plot.h"

namespace roundel::present {

std::string expect_svg(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                       double sector_deg, Units units, const std::string& about, Form form) {
  std::vector<double> drawn = altitudes_ft;
  std::sort(drawn.begin(), drawn.end());
  constexpr std::size_t most = 3;
  if (drawn.size() > most) drawn.erase(drawn.begin(), drawn.end() - most);
  std::vector<PolarPlot::Values> curves;
  std::vector<bool> obstructed;
  double highest = 1;
  for (const double altitude_ft : drawn) {
    PolarPlot::Values values;
    std::size_t i = 0;
    for (double bearing_deg = sector_deg / 2; bearing_deg < 360; bearing_deg += sector_deg, ++i) {
      const auto expected = of.expected(bearing_deg, altitude_ft);
      values.emplace_back(range_in(units, expected.range_km));
      highest = std::max(highest, *values.back());
      if (obstructed.size() <= i) obstructed.push_back(false);
      obstructed[i] = obstructed[i] || expected.cause == site::LimitCause::mask ||
                      expected.cause == site::LimitCause::terrain;
    }
    curves.push_back(std::move(values));
  }
  PolarFrame frame;
  frame.id = "expect";
  frame.title = about.empty() ? "Range to expect" : "Range to expect: " + about;
  for (const double altitude_ft : drawn) {
    const auto at = of.altitude(altitude_ft);
    frame.sentence +=
        fmt::format("{}{} at {} ({})", frame.sentence.empty() ? "Expected on average " : ", ",
                    range_text(units, at.expected_km), altitude_text(units, altitude_ft),
                    site::name_of(at.cause));
  }
  frame.sentence += ".";
  frame.description = "Polar plot, north up, clockwise: the range to expect by bearing (" +
                      std::string(of.limit().method()) + "). " + frame.sentence;
  set_rings(frame, highest, range_unit(units));
  PolarPlot plot(std::move(frame));
  constexpr std::array styles{Line::limit_1, Line::limit_2, Line::limit_3};
  for (std::size_t i = 0; i < curves.size(); ++i) {
    const std::string altitude = altitude_text(units, drawn[i]);
    plot.outline(curves[i], styles[i], "expected at " + altitude, altitude);
  }
  if (std::find(obstructed.begin(), obstructed.end(), true) != obstructed.end())
    plot.rim(obstructed, Mark::block, "mask or terrain limits");
  plot.remark(std::string(of.limit().method()));
  return plot.svg(form);
}

}  // namespace roundel::present
