#include "roundel/present/report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <set>

#include "roundel/present/axes_plot.h"
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

TEST_F(Report, HoldsEverythingTheReaderNeeds) {
  const std::string html = report_html(page());
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
  for (auto& sector : nothing.sectors) sector = {sector.bearing_deg, {}, {}, {}, {}, {}, 0, 0};
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

// Lightness (CIE L*, from sRGB by IEC 61966-2-1 and D65 luminance) is what is left in grey print.
TEST(Style, LevelsStayApartInGrey) {
  const std::string style(picture_style());
  std::vector<double> lightness;
  for (int level = 1; level <= 5; ++level) {
    std::smatch found;
    ASSERT_TRUE(std::regex_search(
        style, found, std::regex("--rd-level-" + std::to_string(level) + ": #([0-9a-f]{6})")));
    const auto rgb = std::stoul(found[1], nullptr, 16);
    double luminance = 0;
    const double weights[] = {0.2126, 0.7152, 0.0722};
    for (int channel = 0; channel < 3; ++channel) {
      const double v = static_cast<double>((rgb >> (16 - 8 * channel)) & 255U) / 255;
      luminance +=
          weights[channel] * (v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    lightness.push_back(116 * std::cbrt(luminance) - 16);
  }
  for (std::size_t i = 1; i < lightness.size(); ++i)
    EXPECT_GT(lightness[i - 1] - lightness[i], 10) << "levels " << i << " and " << i + 1;
}

}  // namespace
}  // namespace roundel::present
