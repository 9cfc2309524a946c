#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "roundel/present/vertical_cut.h"

namespace roundel::present {
namespace {

using testing::HasSubstr;
using testing::Not;

pattern::Cut sample() {
  pattern::Cut cut;
  cut.bearing_deg = 187.5;
  cut.sector_deg = 5;
  cut.range_step_km = 10;
  cut.altitude_step_ft = 2000;
  cut.limit_method = cut.refraction = "4/3 Earth";
  cut.bins = {{{115, 35'000}, 12, 40}};
  cut.horizon = {{19.3, 0}, {460.2, 38'000}};
  cut.elevations = {{1, {{0, 400}, {10, 1000}}}, {3.4, {{0, 400}, {10, 2400}}}};
  cut.flights = {{0x4b1617, 1764000000, 1764000020, 111.2, 111.4, 12, 40}};
  cut.hours = {{1763998000 / 3600 * 3600, 12, 40}};
  cut.n_flights = 1;
  cut.n_cells = 2;
  cut.judged.emplace();
  cut.judged->state = pattern::State::obstructed;
  cut.judged->cutoff_deg = 3.4;
  cut.judged->cutoff_low_deg = 3.2;
  cut.judged->cutoff_high_deg = 3.6;
  return cut;
}

TEST(CutJson, HasWhatThePageAsksFor) {
  const auto json = nlohmann::json::parse(cut_json(sample()));
  EXPECT_EQ(json["bearing_deg"], 187.5);
  EXPECT_EQ(json["sector_deg"], 5);
  EXPECT_EQ(json["range_step_km"], 10);
  EXPECT_EQ(json["altitude_step_ft"], 2000);
  EXPECT_EQ(json["bins"][0]["range_km"], 115);
  EXPECT_EQ(json["bins"][0]["altitude_ft"], 35000);
  EXPECT_EQ(json["bins"][0]["heard"], 12);
  EXPECT_EQ(json["bins"][0]["expected"], 40);
  EXPECT_EQ(json["horizon"][1]["range_km"], 460.2);
  EXPECT_EQ(json["elevations"][1]["line"][1]["altitude_ft"], 2400);
  // The page finds the cut-off's line by its elevation.
  EXPECT_EQ(json["elevations"][1]["elevation_deg"], json["cutoff_deg"]);
  EXPECT_EQ(json["flights"][0]["address"], "4b1617");
  EXPECT_EQ(json["flights"][0]["from"], "2025-11-24T16:00:00Z");
  EXPECT_EQ(json["flights"][0]["nearest_km"], 111.2);
  EXPECT_EQ(json["hours"][0]["heard"], 12);
}

TEST(CutJson, OfNothingIsNull) {
  pattern::Cut nothing;
  const std::string text = cut_json(nothing);
  EXPECT_THAT(text, Not(HasSubstr("nan")));
  EXPECT_TRUE(nlohmann::json::parse(text)["cutoff_deg"].is_null());
  EXPECT_THAT(cut_sentence(nothing, Units::metric), HasSubstr("nothing has been heard"));
}

TEST(CutSvg, ShowsSharesHorizonAndCutOff) {
  const std::string svg = cut_svg(sample(), Units::metric, "Hill house");
  for (const char* said : {"25 to 50 %", "cut-off, 3.4 degrees", "elevations of 1 degrees",
                           "horizon (4/3 Earth)", "1 flight in 1 hour", "30 % of 40 chances heard"})
    EXPECT_THAT(svg, HasSubstr(said));
}

}  // namespace
}  // namespace roundel::present
