#include "roundel/present/report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <regex>
#include <set>

#include "roundel/present/axes_plot.h"
#include "roundel/present/verdict.h"
#include "roundel/present/vertical_cut.h"
#include "tests/present/sample_reach.h"
#include "tests/present/well_formed.h"

namespace roundel::present {
namespace {

using testing::HasSubstr;
using testing::Not;

const schema::SiteRow hill_house{"Hill house", 52.1, 19.4, 110, 12, 100};

/// A verdict on the sample's traffic: flat, with a wall in the south.
pattern::Verdict sample_verdict(const pattern::Reach& reach) {
  pattern::Verdict out;
  out.answer = pattern::Answer::omnidirectional;
  out.ripple = {.value_db = 0.8, .low_db = 0.5, .high_db = 1.2};
  out.flights = 1840;
  out.cells = 81'600;
  out.silent_cells = 4'000;
  out.hours_off = {1'772'330'400};
  for (const auto& sector : reach.sectors) {
    pattern::SectorVerdict one;
    one.bearing_deg = sector.bearing_deg;
    one.flights = sector.flights;
    if (sector.farthest) {
      one.gain_db = 0.2;
      one.low_db = -0.1;
      one.high_db = 0.5;
      one.state = pattern::State::horizon;
    }
    if (sector.bearing_deg > 180 && sector.bearing_deg < 210) {
      one.state = pattern::State::obstructed;
      one.cutoff_deg = 4.0;
      one.cutoff_low_deg = 3.8;
      one.cutoff_high_deg = 4.2;
    }
    out.sectors.push_back(one);
  }
  return out;
}

TEST(Verdict, NeverSaysThatMethodsAgreeWhichDifferBeyondChance) {
  pattern::Verdict verdict;
  verdict.conflict_db = 0.54;
  verdict.conflict_p = 0.0002;
  EXPECT_EQ(difference_of_methods(verdict),
            "the patterns of levels and counts differ by 0.5 dB (root mean square over bearings): "
            "more than chance explains (p < 0.01), so take differences of that size with care");
  verdict.conflict_p = 0.42;
  EXPECT_EQ(difference_of_methods(verdict),
            "the patterns of levels and counts differ by 0.5 dB (root mean square over bearings): "
            "by chance alone they would differ by as much or more in 42 of 100 such cases");
}

class Report : public testing::Test {
 protected:
  ReportPage page() {
    ReportPage out{"Is it <good>?",
                   "Hill house, collinear",
                   "roundel report roundel.db --antenna collinear",
                   1'772'600'000,
                   Units::metric,
                   hill_house,
                   viewpoint_,
                   reach_,
                   verdict_,
                   {},
                   {},
                   {},
                   {}};
    out.trials.push_back(
        {1, "roof", "collinear", "rx1", "gable", 90, 1'772'323'200, {}, "as built"});
    out.notes.push_back({1, 1'772'330'400, 1, "reseated the connector & dried it"});
    out.feeds.push_back(
        {"roof",
         {{"received", 1'000'000}, {"stored", 900'000}, {"repeat", 99'000}, {"stale", 1'000}},
         86'400});
    return out;
  }
  pattern::Reach reach_ = sample_reach();
  pattern::Verdict verdict_ = sample_verdict(reach_);
  site::Viewpoint viewpoint_ = std::move(*site::Viewpoint::from(hill_house));
};

/// With plain spaces for those that keep numbers and units together.
std::string spaced(std::string text) {
  for (std::size_t at = 0; (at = text.find("\u00a0", at)) != std::string::npos;)
    text.replace(at, 2, " ");
  return text;
}

TEST_F(Report, HoldsEverythingTheReaderNeeds) {
  const std::string html = spaced(report_html(page()));
  EXPECT_TRUE(is_well_formed(html));
  const struct {
    const char* name;
    const char* text;
  } rows[] = {
      {"question", "Is it &lt;good&gt;?"},
      {"verdict", "The antenna is omnidirectional within 3.0 dB"},
      {"reach", "Farthest aircraft "},
      {"reach picture", "id=\"reach-title\""},
      {"gain picture", "id=\"gain-title\""},
      {"worst cut", "id=\"cut-worst-title\""},
      {"best cut", "id=\"cut-best-title\""},
      {"cut's figures", "Nothing below 4.0 degrees (3.8 to 4.2) is heard at any range"},
      {"table", "<th scope=\"row\">035–040</th>"},
      {"what was mounted", "<td>90°</td>"},
      {"note", "reseated the connector &amp; dried it"},
      {"reports", "1 000 000 reports received in 24.0 hours of recording, 900 000 stored"},
      {"rejects", "stale 1 000"},
      {"hours off", "1 hours: 2026-03-01 02:00"},
      {"method", "How this was found, and its limits"},
      {"limits", "nothing here gives gain in dBi"},
      {"cautions", "overhead power lines"},
      {"lightning", "lightning protection and earthing"},
      {"use", "Not for navigation or air traffic control."},
      {"how to repeat it", "roundel report roundel.db --antenna collinear"},
  };
  for (const auto& row : rows) EXPECT_THAT(html, HasSubstr(row.text)) << row.name;
}

TEST_F(Report, KeepsNumbersAndTheirUnitsTogether) {
  EXPECT_THAT(report_html(page()),
              HasSubstr("1\u00a0000\u00a0000 reports received in 24.0\u00a0hours"));
}

TEST_F(Report, FetchesNothingAndRunsNothing) {
  const std::string html = report_html(page());
  for (const char* what : {"<script", "<link", "<img", "src=", "href=", "@import", "javascript:"})
    EXPECT_THAT(html, Not(HasSubstr(what)));
  // The only addresses are the names of the two languages it is written in.
  const std::regex address("https?://[^\"< ]+");
  std::set<std::string> found;
  for (std::sregex_iterator it(html.begin(), html.end(), address), end; it != end; ++it)
    found.insert(it->str());
  EXPECT_EQ(found,
            (std::set<std::string>{"http://www.w3.org/1999/xhtml", "http://www.w3.org/2000/svg"}));
}

TEST_F(Report, HasEachIdOnce) {
  const std::string html = report_html(page());
  const std::regex id(" id=\"([^\"]+)\"");
  std::set<std::string> seen;
  for (std::sregex_iterator it(html.begin(), html.end(), id), end; it != end; ++it)
    EXPECT_TRUE(seen.insert((*it)[1]).second) << (*it)[1];
  EXPECT_GE(seen.size(), 12u);
}

TEST_F(Report, SpeaksTheUnitsAskedFor) {
  ReportPage aviation = page();
  aviation.units = Units::aviation;
  const std::string html = report_html(aviation);
  EXPECT_THAT(html, HasSubstr("reach, NM"));
  EXPECT_THAT(html, HasSubstr("altitude, ft"));
  EXPECT_THAT(html, Not(HasSubstr("reach, km")));
}

TEST_F(Report, OfNothingSaysSo) {
  pattern::Reach nothing = reach_;
  for (auto& sector : nothing.sectors) {
    const double bearing_deg = sector.bearing_deg;
    sector = {};
    sector.bearing_deg = bearing_deg;
  }
  nothing.farthest.reset();
  nothing.from_s.reset();
  nothing.to_s.reset();
  pattern::Verdict open;
  open.sectors.resize(nothing.sectors.size());
  const ReportPage was = page();
  const ReportPage empty{was.question, was.about,  was.command, was.made_s, was.units,
                         was.site,     viewpoint_, nothing,     open,       {},
                         {},           {},         {}};
  const std::string html = report_html(empty);
  EXPECT_TRUE(is_well_formed(html));
  EXPECT_THAT(html, HasSubstr("Nothing has been recorded yet."));
  EXPECT_THAT(html, Not(HasSubstr("cut-worst")));
}

TEST_F(Report, TellsWorstFromBestByTheShareOfTheHorizon) {
  const auto extremes = extreme_sectors(reach_);
  ASSERT_TRUE(extremes);
  const double worst_deg = reach_.sectors[extremes->worst].bearing_deg;
  EXPECT_TRUE(worst_deg > 180 && worst_deg < 210) << "the sample's wall";
  EXPECT_GT(reach_.sectors[extremes->best].farthest->ratio(), 0.9);
}

// At 4 degrees and 100 km, over 4/3 Earth with the antenna 22 m up: 22 + 100 000 tan 4 deg + d^2 /
// 2kR = 22 + 6 993 + 589 m = 7 604 m over the surface at 100 m, within the 60 m that the triangle's
// curvature adds (worked by hand).
TEST_F(Report, DrawsTheCutOffWhereTheElevationIs) {
  const std::string svg = vertical_cut_svg(viewpoint_, reach_, verdict_, 38, Units::metric, "cut");
  EXPECT_TRUE(is_well_formed(svg));
  std::smatch found;
  ASSERT_TRUE(std::regex_search(
      svg, found,
      std::regex("class=\"rd-limit\" d=\"M[^\"]*\" fill=\"none\"[^>]*dasharray=\"8 4\"")));
  const std::string path = found[0];
  const std::regex point("[ML]([0-9.-]+) ([0-9.-]+)");
  std::vector<std::pair<double, double>> points;
  for (std::sregex_iterator it(path.begin(), path.end(), point), end; it != end; ++it)
    points.emplace_back(std::stod((*it)[1]), std::stod((*it)[2]));
  ASSERT_GE(points.size(), 41u);
  // 40 steps out to the horizon at 45 000 ft; the axes reach 550 km and 14 000 m (labels).
  const double far_km = viewpoint_.horizon_km(reach_.sectors[38].bearing_deg, 45'000);
  const double x0 = points[0].first, km = (points[40].first - x0) / far_km;
  std::smatch frame;
  ASSERT_TRUE(std::regex_search(svg, frame,
                                std::regex("<rect x=\"[0-9.]+\" y=\"([0-9.]+)\" width=\"[0-9.]+\" "
                                           "height=\"([0-9.]+)\"")));
  const double top = std::stod(frame[1]), height = std::stod(frame[2]);
  ASSERT_THAT(svg, HasSubstr(">14 000<"));
  // Between the two steps that enclose 100 km.
  std::size_t i = 0;
  while (points[i + 1].first < x0 + 100 * km) ++i;
  const double share = (x0 + 100 * km - points[i].first) / (points[i + 1].first - points[i].first);
  const double y = points[i].second + share * (points[i + 1].second - points[i].second);
  EXPECT_NEAR(14'000 * (top + height - y) / height, 7'604 + 100, 80);
}

TEST(RoundAxis, HasRoundTicks) {
  const struct {
    const char* name;
    double low, high, last;
    std::vector<std::string> ticks;
  } rows[] = {
      {"range", 0, 520, 550, {"0", "100", "200", "300", "400", "500"}},
      {"altitude", 0, 45'000, 45'000, {"0", "10 000", "20 000", "30 000", "40 000"}},
      {"decibels", -1.2, 1.4, 1.5, {"-1.5", "-1", "-0.5", "0", "0.5", "1", "1.5"}},
  };
  for (const auto& row : rows) {
    const Axis axis = round_axis(row.low, row.high, "");
    std::vector<std::string> ticks;
    for (const auto& [value, text] : axis.ticks) ticks.push_back(text);
    EXPECT_EQ(ticks, row.ticks) << row.name;
    EXPECT_NEAR(axis.high, row.last, 1e-9) << row.name;
  }
}

using Rgb = std::array<double, 3>;

Rgb linear_rgb(const std::string& name) {
  const std::string style(picture_style());
  std::smatch found;
  EXPECT_TRUE(std::regex_search(style, found, std::regex("--rd-" + name + ": #([0-9a-f]{6})")));
  const auto rgb = std::stoul(found[1], nullptr, 16);
  Rgb out{};
  for (unsigned channel = 0; channel < 3; ++channel) {
    const double v = static_cast<double>((rgb >> (16 - 8 * channel)) & 255U) / 255;
    out[channel] = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
  }
  return out;
}

Rgb times(const std::array<Rgb, 3>& matrix, const Rgb& of) {
  Rgb out{};
  for (std::size_t i = 0; i < 3; ++i)
    for (std::size_t j = 0; j < 3; ++j) out[i] += matrix[i][j] * of[j];
  return out;
}

/// CIE L*a*b* under D65, from linear sRGB (IEC 61966-2-1).
Rgb lab(const Rgb& rgb) {
  const Rgb xyz =
      times({{{0.4124, 0.3576, 0.1805}, {0.2126, 0.7152, 0.0722}, {0.0193, 0.1192, 0.9505}}},
            {std::max(rgb[0], 0.0), std::max(rgb[1], 0.0), std::max(rgb[2], 0.0)});
  const auto f = [](double t) { return t > 0.008856 ? std::cbrt(t) : 7.787 * t + 16.0 / 116; };
  const double x = f(xyz[0] / 0.9505), y = f(xyz[1]), z = f(xyz[2] / 1.089);
  return {116 * y - 16, 500 * (x - y), 200 * (y - z)};
}

double difference(const Rgb& a, const Rgb& b) {
  return std::hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

// Lightness is what is left in grey print. 10 steps of L*: common practice, no source.
TEST(Style, LevelsStayApartInGrey) {
  for (int level = 2; level <= 5; ++level)
    EXPECT_GT(lab(linear_rgb("level-" + std::to_string(level - 1)))[0] -
                  lab(linear_rgb("level-" + std::to_string(level)))[0],
              10)
        << "levels " << level - 1 << " and " << level;
}

// Colours that meet in a picture, as dichromats see them: Machado, Oliveira and Fernandes 2009,
// IEEE Trans. Vis. Comput. Graph. 15:1291, severity 1 (matrices from memory). A difference of 15 in
// L*a*b* is plain at a glance (common practice, no source).
TEST(Style, ColoursStayApartForEveryKindOfColourBlindness) {
  const struct {
    const char* name;
    std::array<Rgb, 3> matrix;
  } kinds[] = {
      {"protanopia",
       {{{0.152286, 1.052583, -0.204868},
         {0.114503, 0.786281, 0.099216},
         {-0.003882, -0.048116, 1.051998}}}},
      {"deuteranopia",
       {{{0.367322, 0.860646, -0.227968},
         {0.280085, 0.672501, 0.047413},
         {-0.011820, 0.042940, 0.968881}}}},
      {"tritanopia",
       {{{1.255528, -0.076749, -0.178779},
         {-0.078411, 0.930809, 0.147602},
         {0.004733, 0.691367, 0.303900}}}},
  };
  const std::pair<const char*, const char*> pairs[] = {
      {"limit", "level-1"},  {"limit", "level-2"}, {"limit", "level-3"},
      {"limit", "level-5"},  {"limit", "paper"},   {"limit", "ink"},
      {"accent", "level-1"}, {"accent", "paper"},  {"ink", "level-2"},
  };
  for (const auto& kind : kinds)
    for (const auto& [one, other] : pairs)
      EXPECT_GT(difference(lab(times(kind.matrix, linear_rgb(one))),
                           lab(times(kind.matrix, linear_rgb(other)))),
                15)
          << kind.name << ": " << one << " and " << other;
}

TEST(AxesPlot, LabelsDoNotOverlap) {
  for (const Form form : {Form::document, Form::figure}) {
    PolarFrame frame;
    frame.id = "test";
    const std::string svg =
        AxesPlot(frame, round_axis(0, 520, "range, km"), round_axis(0, 45'000, "altitude, ft"))
            .svg(form);
    struct Box {
      double x, y, half_width, half_height;
      std::string text;
    };
    std::vector<Box> boxes;
    const std::regex label(
        "<text class=\"rd-(?:ink|faint)\" x=\"([0-9.]+)\" y=\"([0-9.]+)\" font-size=\"([0-9.]+)\" "
        "text-anchor=\"middle\"[^>]*>([^<]*)<");
    for (std::sregex_iterator it(svg.begin(), svg.end(), label), end; it != end; ++it) {
      const double size = std::stod((*it)[3]);
      boxes.push_back({std::stod((*it)[1]), std::stod((*it)[2]),
                       0.3 * size * static_cast<double>((*it)[4].length()), size / 2, (*it)[4]});
    }
    EXPECT_GE(boxes.size(), 10u);
    for (std::size_t i = 0; i < boxes.size(); ++i)
      for (std::size_t j = 0; j < i; ++j)
        EXPECT_TRUE(
            std::abs(boxes[i].x - boxes[j].x) >= boxes[i].half_width + boxes[j].half_width ||
            std::abs(boxes[i].y - boxes[j].y) >= boxes[i].half_height + boxes[j].half_height)
            << boxes[i].text << " over " << boxes[j].text;
  }
}

}  // namespace
}  // namespace roundel::present
