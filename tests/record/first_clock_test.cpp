// A feed whose clock is ahead of the computer's when it is first heard. Both clocks are the test's.
#include <gtest/gtest.h>

#include "daemon/record/recording.h"
#include "tests/record/roof_feed.h"
#include "tests/record/scene.h"
#include "tests/schema/store_fixture.h"

namespace roundel::record {
namespace {

using schema::must;

class FirstClock : public testing::Test {
 protected:
  Recording open(const char* name) {
    auto recording = must(Recording::open({.store = folder_ / name,
                                           .site = {"Hill house", 52.1, 19.4, 14, 8, 14},
                                           .rules = {},
                                           .log = [](Level, std::string_view) {}}));
    must(recording.add_feed(roof_feed()));
    return recording;
  }
  /// Three aircraft from `from_s` to `to_s` after t0_s, by the feed's clock ahead by `ahead_s`,
  /// arriving by the computer's clock, which is ahead by `computer_s`.
  static void hear(Recording& recording, double from_s, double to_s, double ahead_s,
                   double computer_s = 0) {
    feed::Intake intake;
    for (double at = from_s; at < to_s; at += 0.5)
      for (const Plane& plane : some_planes(3)) {
        feed::Report report = plane.at(t0_s + at);
        report.time_s = t0_s + at + ahead_s;
        intake.reports.push_back({report, t0_s + at + computer_s + 0.2});
      }
    must(recording.take_in("roof", intake));
    must(recording.commit());
  }
  schema::Store stored(const char* name) {
    return must(schema::Store::open(folder_ / name, schema::Store::Access::read));
  }
  std::int64_t count(const char* name, const char* kind) {
    const auto tally = must(stored(name).tally(std::nullopt));
    const auto found = tally.find(kind);
    return found == tally.end() ? 0 : found->second;
  }
  schema::Folder folder_;
};

TEST_F(FirstClock, YearsAheadForTwentySecondsRecordsNothingThereAndAllThatFollows) {
  Recording recording = open("a.db");
  hear(recording, 0, 20, 400 * 86'400.);
  EXPECT_NEAR(recording.counts()[0].clock_ahead_s, 400 * 86'400., 1);
  hear(recording, 20, 320, 0);
  must(recording.close());
  EXPECT_EQ(count("a.db", "future"), 3 * 40);
  EXPECT_EQ(count("a.db", "stored"), 3 * 600);
  const auto trials = must(stored("a.db").trials());
  ASSERT_EQ(trials.size(), 1U);
  EXPECT_EQ(trials[0].start_s, static_cast<std::int64_t>(t0_s) + 20);
}

TEST_F(FirstClock, AnHourAheadThatIsPutRightLaterStillHasATrial) {
  Recording recording = open("a.db");
  hear(recording, 0, 300, 3600);
  hear(recording, 300, 900, 0);
  must(recording.close());
  EXPECT_EQ(count("a.db", "no_trial"), 0);
  EXPECT_GT(count("a.db", "stored"), 3 * (600 + 1200 - 60));
  const auto trials = must(stored("a.db").trials());
  ASSERT_EQ(trials.size(), 1U);
  EXPECT_LE(trials[0].start_s, static_cast<std::int64_t>(t0_s) + 61);
}

TEST_F(FirstClock, IsRecordedAsTheSameFeedIsLongAfter) {
  Recording live = open("live.db"), later = open("later.db");
  hear(live, 0, 900, 300);
  hear(later, 0, 900, 300, 3.2e7);
  must(live.close());
  must(later.close());
  schema::Client a(folder_ / "live.db"), b(folder_ / "later.db");
  for (const char* sql :
       {"SELECT * FROM cell ORDER BY id", "SELECT * FROM recent_cell ORDER BY id",
        "SELECT * FROM flight ORDER BY id", "SELECT * FROM coverage ORDER BY 1, 2",
        "SELECT feed, kind, sum(count) FROM tally GROUP BY 1, 2"})
    EXPECT_EQ(a.rows(sql), b.rows(sql)) << sql;
  EXPECT_EQ(count("live.db", "stored"), 3 * 1800);
}

TEST_F(FirstClock, OfAComputerThatWasNeverSetIsNoMeasure) {
  Recording recording = open("a.db");
  hear(recording, 0, 30, 0, -t0_s + 30);
  must(recording.close());
  EXPECT_EQ(count("a.db", "stored"), 3 * 60);
  EXPECT_EQ(must(stored("a.db").trials()).at(0).start_s, static_cast<std::int64_t>(t0_s));
}

TEST_F(FirstClock, AheadWhenTheRunEndsBeginsNoTrial) {
  Recording recording = open("a.db");
  hear(recording, 0, 30, 86'400);
  must(recording.close());
  EXPECT_EQ(count("a.db", "future"), 3 * 60);
  EXPECT_TRUE(must(stored("a.db").trials()).empty());
}

}  // namespace
}  // namespace roundel::record
