#include "roundel/present/reach.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "tests/present/sample_reach.h"
#include "tests/present/well_formed.h"

namespace roundel::present {
namespace {

using testing::HasSubstr;

/// Empty, by the defaults.
pattern::Reach nothing() {
  const site::Viewpoint viewpoint(*site::GeoPoint::make(52.1, 19.4, 12));
  const auto limit = site::effective_earth_limit(viewpoint);
  return pattern::ReachBuilder(viewpoint, *limit, {}, {}, {}).finish();
}

/// One farthest aircraft in each sector that `ratio` gives one for.
template <class Ratio>
pattern::Reach with(Ratio ratio) {
  pattern::Reach reach = nothing();
  reach.from_s = 1'772'323'200;
  reach.to_s = 1'772'326'800;
  reach.flights = reach.cells = reach.reports = 100;
  for (auto& sector : reach.sectors) {
    const std::optional<double> of = ratio(sector.bearing_deg);
    if (!of) continue;
    sector.farthest =
        pattern::Farthest{430 * *of, sector.bearing_deg, 38'000, 430, 0x4b1617, 1'772'323'200};
    if (!reach.farthest || sector.farthest->range_km > reach.farthest->range_km)
      reach.farthest = sector.farthest;
  }
  return reach;
}

TEST(ReachSentence, TellsTheFarthestAndWhatFallsShort) {
  const auto reach = with([](double bearing_deg) -> std::optional<double> {
    if (bearing_deg > 180 && bearing_deg < 210) return 0.4;
    return bearing_deg == 37.5 ? 0.935 : 0.9;
  });
  EXPECT_EQ(
      reach_sentence(reach, Units::metric),
      "Farthest aircraft 402 km (217 NM) at 038 degrees, 94% of the radio horizon (4/3 Earth) "
      "at its height; 6 of 72 sectors reach less than half the horizon: 180 to 210 degrees.");
  EXPECT_THAT(reach_sentence(reach, Units::aviation), HasSubstr("aircraft 217 NM (402 km) at"));
}

TEST(ReachSentence, TellsWhereNobodyFlies) {
  const auto reach = with([](double bearing_deg) -> std::optional<double> {
    if (bearing_deg > 350 || bearing_deg < 10) return std::nullopt;
    return bearing_deg == 92.5 ? 0.45 : 0.9;
  });
  EXPECT_THAT(
      reach_sentence(reach, Units::metric),
      HasSubstr("; 1 of the 68 sectors with traffic reaches less than half the horizon: 090 "
                "to 095 degrees; 4 sectors had no traffic to judge by: 350 to 010 degrees."));
  EXPECT_THAT(reach_sentence(with([](double) { return std::optional(0.9); }), Units::metric),
              HasSubstr("; no sector reaches less than half the horizon."));
}

TEST(ReachSentence, SaysWhatIsMissing) {
  pattern::Reach reach = nothing();
  EXPECT_EQ(reach_sentence(reach, Units::metric), "Nothing has been recorded here yet.");
  reach.from_s = reach.to_s = 1'772'323'200;
  EXPECT_EQ(reach_sentence(reach, Units::metric),
            "No report has been heard here, so there is no reach.");
  reach.cells = reach.reports = 1;
  EXPECT_EQ(reach_sentence(reach, Units::metric),
            "1 report was heard, but no three of one aircraft within a minute: too little for a "
            "reach.");
  reach.reports = 2'400;
  EXPECT_EQ(
      reach_sentence(reach, Units::metric),
      "2 400 reports were heard, but no three of one aircraft within a minute: too little for "
      "a reach.");
}

TEST(BeyondSentence, NamesTheHoursOfDucting) {
  pattern::Reach reach = with([](double) { return std::optional(0.9); });
  EXPECT_EQ(beyond_sentence(reach, Units::metric), "");
  reach.beyond.cells = 39;
  reach.beyond.farthest = pattern::Farthest{520, 90, 38'000, 457, 1, 1'772'326'800};
  EXPECT_EQ(beyond_sentence(reach, Units::metric),
            "39 cells beyond 105% of the horizon, as far as 520 km (281 NM), are kept apart: "
            "ducting or bad positions.");
  reach.beyond.hours.push_back({1'772'326'800, 3, 39, 52});
  EXPECT_THAT(
      beyond_sentence(reach, Units::metric),
      HasSubstr(" One hour is rich in them and counts for no reach: 2026-03-01T01:00:00Z."));
}

TEST(ReachJson, CarriesTheStableKeysAndNullForNone) {
  const auto json = nlohmann::json::parse(reach_json(sample_reach()));
  ASSERT_EQ(json["sectors"].size(), 72u);
  const auto& sector = json["sectors"][7];
  for (const char* key : {"bearing_deg", "reach_km", "altitude_ft", "horizon_km", "ratio",
                          "address", "time", "half_rate_km", "by_altitude", "flights", "cells"})
    EXPECT_TRUE(sector.contains(key)) << key;
  EXPECT_THAT(std::string(json["sentence"]), HasSubstr(" km ("));
  EXPECT_THAT(std::string(json["sentence_aviation"]), HasSubstr(" NM ("));
  EXPECT_EQ(sector["bearing_deg"], 37.5);
  EXPECT_EQ(sector["address"], "4b1607");
  EXPECT_EQ(sector["time"], "2026-03-01T00:00:00Z");
  EXPECT_EQ(sector["altitude_ft"], 38'000);
  EXPECT_NEAR(sector["ratio"].get<double>(),
              sector["reach_km"].get<double>() / sector["horizon_km"].get<double>(), 1e-4);
  EXPECT_EQ(sector["by_altitude"].size(), 4u);
  EXPECT_EQ(sector["by_altitude"][0]["altitude_high_ft"], 6'000);
  EXPECT_TRUE(sector["by_altitude"][3]["altitude_high_ft"].is_null());
  const auto& empty = json["sectors"][51];  // 255 to 260: nobody flies there
  for (const char* key : {"reach_km", "altitude_ft", "horizon_km", "ratio", "address", "time",
                          "half_rate_km", "first_heard_km"})
    EXPECT_TRUE(empty[key].is_null()) << key;
  EXPECT_EQ(empty["flights"], 0);
  EXPECT_EQ(json["limit_method"], "4/3 Earth");
  EXPECT_EQ(json["limits"].size(), 3u);
  EXPECT_EQ(json["limits"][2]["horizon_km_by_sector"].size(), 72u);
  EXPECT_EQ(json["from"], "2026-03-01T00:00:00Z");
  EXPECT_TRUE(nlohmann::json::parse(reach_json(nothing()))["farthest"].is_null());
}

TEST(ReachSvg, ShowsHorizonsAndWhatFallsShort) {
  const std::string svg = reach_svg(sample_reach(), Units::aviation, "Hill house, collinear");
  EXPECT_TRUE(is_well_formed(svg));
  EXPECT_THAT(svg, HasSubstr(">Reach: Hill house, collinear</title>"));
  EXPECT_THAT(svg, HasSubstr("<desc id=\"reach-desc\">Polar plot, north up, clockwise."));
  for (const char* altitude : {"6 000 ft", "18 000 ft", "38 000 ft"})
    EXPECT_THAT(svg, HasSubstr(std::string("horizon at ") + altitude + " (4/3 Earth)"));
  EXPECT_THAT(svg, HasSubstr("reaches less than half the horizon"));
  EXPECT_THAT(svg, HasSubstr("no traffic to judge by"));
  EXPECT_THAT(svg, HasSubstr("200 NM"));
}

TEST(ReachSvg, OfNothingIsAnEmptyFrame) {
  const std::string svg = reach_svg(nothing(), Units::metric, "");
  EXPECT_TRUE(is_well_formed(svg));
  EXPECT_THAT(svg, HasSubstr(">Nothing has been recorded here yet.</text>"));
}

}  // namespace
}  // namespace roundel::present
