// A few seeds of the calibration suite: enough to see a broken estimator, cheap enough for every
// build. `calibrate` runs it whole; its table stands in docs/calibration.md.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/schema/store_fixture.h"
#include "tests/simulation/recorded_site.h"

namespace roundel::calibration {
namespace {

using pattern::Answer;
using pattern::State;

Outcome run_of(const char* world, const char* pattern, std::uint64_t seed) {
  return run({find_world(world), find_pattern(pattern), 1, seed});
}

// Aircraft banked for hours in one place, inside and outside their turn by turns, passed for a fall
// with range and aspect: the mast came out as 0.91 of what it is.
TEST(Verdict, FindsAMastAndItsSizeWithinADayAtABusySite) {
  const Outcome out = run_of("busy-site", "mast", 7223);
  EXPECT_EQ(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_NEAR(out.scale(), 1, 0.05);
  EXPECT_LT(out.rms_db.value_or(99), 0.2);
  EXPECT_GE(out.holding, 0.9 * out.intervals);
  ASSERT_FALSE(out.verdict.harmonics.empty());
  EXPECT_GT(out.verdict.harmonics[0].low_db, 1);  // a mast to one side shows in order 1
}

TEST(Verdict, LeavesAFlatAntennaFlatAndJudgesNothingWhereNobodyFlies) {
  const Outcome out = run_of("empty-west", "flat", 2007);
  EXPECT_EQ(out.verdict.answer, Answer::undecided);
  EXPECT_LT(out.rms_db.value_or(99), 0.35);
  EXPECT_LT(out.verdict.ripple.value_db, 1);
  EXPECT_EQ(out.false_walls, 0);
  for (const auto& sector : out.verdict.sectors) {
    if (sector.bearing_deg > 285 && sector.bearing_deg < 298) {
      EXPECT_EQ(sector.state, State::unjudged) << sector.bearing_deg;
    }
  }
}

TEST(Verdict, TellsAWallFromAPattern) {
  const Outcome out = run_of("wall", "flat", 2003);
  EXPECT_NE(out.verdict.answer, Answer::not_omnidirectional);
  ASSERT_GT(out.walled, 10);
  EXPECT_GE(out.walled_found, static_cast<int>(std::ceil(0.9 * out.walled)));
  EXPECT_LE(out.false_walls, 3);
  EXPECT_LT(std::sqrt(out.cutoff_error_squares / out.walled_found), 0.5);  // degrees
}

TEST(Verdict, SeesThroughAThinnedFeed) {
  const Outcome out = run_of("throttled", "mast", 2004);
  EXPECT_GT(out.verdict.throttle.messages_per_chance, 1.5);
  EXPECT_EQ(out.verdict.answer, Answer::not_omnidirectional);
  EXPECT_LT(out.rms_db.value_or(99), 0.55);
}

TEST(Verdict, UsesLevelsWhereTheFeedHasThem) {
  const Outcome out = run_of("levels", "flat", 2005);
  EXPECT_TRUE(out.verdict.strength.used);
  EXPECT_LT(out.rms_db.value_or(99), 0.15);
}

TEST(Verdict, IsUndecidedAfterAnHour) {
  const Outcome out = run_of("hour", "flat", 2006);
  EXPECT_EQ(out.verdict.answer, Answer::undecided);
  EXPECT_TRUE(out.verdict.missing.hours.has_value() || !out.verdict.missing.bearings.empty());
}

// Every row of the table can be read, with every pattern.
TEST(Worlds, AllAreScenariosThatFitTogether) {
  for (const World& world : worlds())
    for (const Pattern& pattern : patterns())
      EXPECT_TRUE(simulate::completed(scenario_of({world, pattern, 1, 7}))) << world.name;
}

// A kept recording is used again only for the very same site.
TEST(Worlds, KeepWhatWasRecordedUntilTheWorldChanges) {
  const schema::Folder folder;
  Site site{find_world("hour"), find_pattern("flat"), 1, 7};
  site.world.toml += "\ntraffic = { mean_aircraft = 2 }";
  const auto store = record(site, folder / "kept");
  ASSERT_TRUE(store);
  const auto written = std::filesystem::last_write_time(*store);
  ASSERT_TRUE(record(site, folder / "kept"));
  EXPECT_EQ(std::filesystem::last_write_time(*store), written);
  site.world.toml += "\nreception = { margin_db = 1 }";
  ASSERT_TRUE(record(site, folder / "kept"));
  EXPECT_NE(std::filesystem::last_write_time(*store), written);
  EXPECT_TRUE(judge(*store, {}));
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
