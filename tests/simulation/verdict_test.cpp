// A few seeds of the calibration suite: enough to see a broken estimator, cheap enough for every
// build. `calibrate` runs it whole; its table stands in docs/calibration.md.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/simulation/scenarios.h"

namespace roundel::calibration {
namespace {

using pattern::Answer;
using pattern::State;

TEST(Verdict, FindsAMastAndItsSizeWithinADay) {
  const Outcome out = run(find("mast-1d"), 2001);
  EXPECT_EQ(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_LT(out.rms_db, 0.45);  // dB per 10 degrees: the method's figure
  EXPECT_NEAR(out.scale, 1, 0.12);
  ASSERT_FALSE(out.verdict.harmonics.empty());
  EXPECT_GT(out.verdict.harmonics[0].low_db, 1);  // a mast to one side shows in order 1
}

// Aircraft banked for hours in one place, inside and outside their turn by turns, passed for a fall
// with range and aspect: the mast came out as 0.91 of what it is.
TEST(Verdict, AircraftInOrbitDoNotShrinkAMast) {
  const Outcome out = run(find("busy-site-1d"), 7223);
  EXPECT_EQ(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_NEAR(out.scale, 1, 0.05);
  EXPECT_LT(out.rms_db, 0.2);
  EXPECT_GE(out.holding, 0.9 * out.intervals);
}

TEST(Verdict, LeavesAFlatAntennaFlat) {
  const Outcome out = run(find("flat-1d"), 2002);
  EXPECT_NE(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_LT(out.rms_db, 0.35);
  EXPECT_LT(out.verdict.ripple.value_db, 1);
  EXPECT_EQ(out.false_walls, 0);
}

TEST(Verdict, TellsAWallFromAPattern) {
  const Outcome out = run(find("wall-1d"), 2003);
  EXPECT_NE(out.verdict.answer, Answer::not_omnidirectional);
  ASSERT_GT(out.walled, 10);
  EXPECT_GE(out.walled_found, static_cast<int>(std::ceil(0.9 * out.walled)));
  EXPECT_LE(out.false_walls, 3);
  EXPECT_LT(std::sqrt(out.cutoff_error_squares / out.walled_found), 0.5);  // degrees
}

TEST(Verdict, SeesThroughAThinnedFeed) {
  const Outcome out = run(find("throttled-mast-1d"), 2004);
  EXPECT_GT(out.verdict.throttle.messages_per_chance, 1.5);
  EXPECT_EQ(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_LT(out.rms_db, 0.55);
}

TEST(Verdict, UsesLevelsWhereTheFeedHasThem) {
  const Outcome out = run(find("flat-levels-1d"), 2005);
  EXPECT_TRUE(out.verdict.strength.used);
  EXPECT_LT(out.rms_db, 0.15);
}

TEST(Verdict, IsUndecidedAfterAnHour) {
  const Outcome out = run(find("flat-1h"), 2006);
  EXPECT_EQ(out.verdict.answer, Answer::undecided);
  EXPECT_TRUE(out.verdict.missing.hours.has_value() || !out.verdict.missing.bearings.empty());
}

TEST(Verdict, JudgesNothingWhereNobodyFlies) {
  const Outcome out = run(find("empty-west-1d"), 2007);
  EXPECT_NE(out.verdict.answer, Answer::omnidirectional);
  for (const auto& sector : out.verdict.sectors) {
    if (sector.bearing_deg > 285 && sector.bearing_deg < 298) {
      EXPECT_EQ(sector.state, State::unjudged) << sector.bearing_deg;
    }
  }
}

TEST(Verdict, SaysNothingOfNothing) {
  const auto viewpoint = site::Viewpoint::from({"Hill house", 52.1, 19.4, 110, 12, 100});
  ASSERT_TRUE(viewpoint);
  pattern::ExposureBuilder builder(*viewpoint, 5);
  const pattern::Verdict verdict = pattern::judge(builder.finish(), {}, {});
  EXPECT_EQ(verdict.answer, Answer::undecided);
  ASSERT_EQ(verdict.sectors.size(), 72U);
  for (const auto& sector : verdict.sectors) {
    EXPECT_EQ(sector.state, State::unjudged);
    EXPECT_FALSE(sector.gain_db);
  }
}

}  // namespace
}  // namespace roundel::calibration
