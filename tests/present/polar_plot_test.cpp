#include "roundel/present/polar_plot.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <regex>

#include "tests/present/well_formed.h"

namespace roundel::present {
namespace {

using testing::HasSubstr;
using testing::Not;

PolarFrame frame() {
  PolarFrame out;
  out.id = "test";
  out.title = "Gain <of> \"A & B\"";
  out.sentence = "Flat within 0.8 dB.";
  out.description = "Polar plot & its figures.";
  set_rings(out, 400, "km");
  return out;
}

PolarPlot::Values only(std::size_t sector, double value, std::size_t n = 72) {
  PolarPlot::Values out(n);
  out[sector] = value;
  return out;
}

/// Points of the first path that is filled with this class.
std::vector<std::pair<double, double>> points_of(const std::string& svg, const std::string& css) {
  std::smatch found;
  const std::regex path("class=\"" + css + "[^\"]*\" d=\"([^\"]*)\"");
  if (!std::regex_search(svg, found, path)) return {};
  const std::string d = found[1];
  std::vector<std::pair<double, double>> points;
  const std::regex coordinates("[ML]?(-?[0-9.]+) (-?[0-9.]+)(?=[ALZM]|$)");
  for (std::sregex_iterator it(d.begin(), d.end(), coordinates), end; it != end; ++it)
    points.emplace_back(std::stod((*it)[1]), std::stod((*it)[2]));
  return points;
}

TEST(PolarPlot, IsWellFormedAndNamedForScreenReaders) {
  PolarPlot plot(frame());
  plot.wedges(only(3, 300), Fill::level_2, "legend <1>");
  plot.band(only(1, 200), only(1, 300), Fill::accent, "band");
  plot.outline(PolarPlot::Values(72, 350.0), Line::limit_1, "limit", "350");
  plot.ticks(only(5, 100), Line::strong, "ticks");
  plot.rim(std::vector<bool>(72, true), Mark::hatch, "hatched");
  plot.remark("a remark");
  const std::string svg = plot.svg();
  EXPECT_TRUE(is_well_formed(svg));
  EXPECT_THAT(svg,
              HasSubstr("<title id=\"test-title\">Gain &lt;of&gt; &quot;A &amp; B&quot;</title>"));
  EXPECT_THAT(svg, HasSubstr("<desc id=\"test-desc\">Polar plot &amp; its figures.</desc>"));
  EXPECT_THAT(svg, HasSubstr("aria-labelledby=\"test-title test-desc\""));
  EXPECT_THAT(svg, HasSubstr("legend &lt;1&gt;"));
  EXPECT_THAT(svg, HasSubstr("prefers-color-scheme: dark"));
}

TEST(PolarPlot, LeavesOutWhatXmlForbids) {
  PolarFrame odd = frame();
  odd.title = std::string("Hill\x01 house\x1b");
  const std::string svg = PolarPlot(odd).svg();
  EXPECT_TRUE(is_well_formed(svg));
  EXPECT_THAT(svg, HasSubstr(">Hill house<"));
}

// Centre and scale from the frame's circle; a sector's middle points north, east, south, west.
TEST(PolarPlot, HasNorthUpAndRunsClockwise) {
  const struct {
    const char* name;
    std::size_t sector;
    double x, y;
  } rows[] = {{"north", 0, 0, -1}, {"east", 1, 1, 0}, {"south", 2, 0, 1}, {"west", 3, -1, 0}};
  for (const auto& row : rows) {
    PolarPlot plot(frame());
    // Four sectors from 0, 90, 180, 270 on: their middles stand at 45, 135, ...; a tick spans them.
    plot.wedges(only(row.sector * 90, 400, 360), Fill::level_1, "");
    const std::string svg = plot.svg();
    std::smatch circle;
    ASSERT_TRUE(std::regex_search(svg, circle,
                                  std::regex("cx=\"([0-9.]+)\" cy=\"([0-9.]+)\" r=\"([0-9.]+)\"")));
    const double cx = std::stod(circle[1]);
    const double cy = std::stod(circle[2]);
    const double r = std::stod(circle[3]);
    const auto points = points_of(svg, "rd-level-1");
    ASSERT_GE(points.size(), 2u) << row.name;
    EXPECT_NEAR(points[0].first, cx + r * row.x, 0.02) << row.name;
    EXPECT_NEAR(points[0].second, cy + r * row.y, 0.02) << row.name;
    // The wedge's other corner lies a degree on, clockwise: along (-y, x) of the direction.
    EXPECT_NEAR(points[1].first,
                cx + r * (row.x * std::cos(std::numbers::pi / 180) -
                          row.y * std::sin(std::numbers::pi / 180)),
                0.02);
    EXPECT_NEAR(points[1].second,
                cy + r * (row.y * std::cos(std::numbers::pi / 180) +
                          row.x * std::sin(std::numbers::pi / 180)),
                0.02);
  }
}

TEST(PolarPlot, DrawsNoneAsAGapNotAsZero) {
  PolarPlot plot(frame());
  plot.wedges(PolarPlot::Values(72), Fill::level_3, "");
  plot.outline(PolarPlot::Values(72), Line::strong, "");
  const std::string svg = plot.svg();
  EXPECT_THAT(svg, HasSubstr("class=\"rd-level-3 rd-edge\" d=\"\""));
  EXPECT_THAT(svg, Not(HasSubstr("class=\"rd-strong\"")));

  PolarPlot::Values broken(72, 300.0);
  broken[10] = std::nullopt;
  broken[40] = std::nullopt;
  PolarPlot pieces(frame());
  pieces.outline(broken, Line::strong, "");
  std::smatch found;
  const std::string text = pieces.svg();
  ASSERT_TRUE(std::regex_search(text, found, std::regex("class=\"rd-strong\" d=\"([^\"]*)\"")));
  const std::string d = found[1];
  EXPECT_EQ(std::count(d.begin(), d.end(), 'M'), 2) << "two stretches, none cut at north";
  EXPECT_EQ(d.find('Z'), std::string::npos);
}

/// All texts that are centred (labels of the plot), as boxes at 0.6 em a character.
TEST(PolarPlot, LabelsDoNotOverlap) {
  PolarPlot plot(frame());
  for (double value : {180.0, 190.0, 200.0, 395.0})
    plot.outline(PolarPlot::Values(72, value), Line::limit_1, "line", "10 000 ft");
  const std::string svg = plot.svg();
  struct Box {
    double x, y, half_width, half_height;
    std::string text;
  };
  std::vector<Box> boxes;
  const std::regex label(
      "<text class=\"rd-(?:ink|faint|limit-text)\" x=\"([0-9.]+)\" y=\"([0-9.]+)\" "
      "font-size=\"([0-9.]+)\" text-anchor=\"middle\"[^>]*>([^<]*)<");
  for (std::sregex_iterator it(svg.begin(), svg.end(), label), end; it != end; ++it) {
    const std::string text = (*it)[4];
    const double size = std::stod((*it)[3]);
    boxes.push_back({std::stod((*it)[1]), std::stod((*it)[2]),
                     0.3 * size * static_cast<double>(text.size()), size / 2, text});
  }
  EXPECT_GE(boxes.size(), 12u + 4u + 3u) << "bearings, curves, rings";
  for (std::size_t i = 0; i < boxes.size(); ++i)
    for (std::size_t j = 0; j < i; ++j)
      EXPECT_TRUE(std::abs(boxes[i].x - boxes[j].x) >= boxes[i].half_width + boxes[j].half_width ||
                  std::abs(boxes[i].y - boxes[j].y) >= boxes[i].half_height + boxes[j].half_height)
          << boxes[i].text << " over " << boxes[j].text;
}

TEST(PolarPlot, RingsStandAtRoundValues) {
  const struct {
    double inner, highest, outer;
    std::vector<std::string> labels;
  } rows[] = {
      {0, 460, 500, {"100", "200", "300", "400 km"}},
      {0, 248, 250, {"50", "100", "150", "200 km"}},
      {0, 1, 1, {"0.2", "0.4", "0.6", "0.8 km"}},
      {-10, 5, 5, {"-8", "-6", "-4", "-2", "0", "2", "4 km"}},
  };
  for (const auto& row : rows) {
    PolarFrame out;
    out.inner = row.inner;
    set_rings(out, row.highest, "km");
    std::vector<std::string> labels;
    for (const auto& ring : out.rings) labels.push_back(ring.label);
    EXPECT_EQ(labels, row.labels) << row.highest;
    EXPECT_NEAR(out.outer, row.outer, 1e-9) << row.highest;
  }
}

}  // namespace
}  // namespace roundel::present
