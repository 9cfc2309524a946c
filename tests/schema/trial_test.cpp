#include <gmock/gmock.h>

#include <cmath>
#include <utility>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

class TrialTest : public testing::Test {
 protected:
  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::write));
};

TEST_F(TrialTest, ComesBackAsItWasStarted) {
  Trial trial = trial_on("roof", "collinear", day_s);
  trial.rotation_deg = 90;
  trial.note = "after the storm";
  const Trial started = must(store_.start_trial(trial));
  const auto trials = must(store_.trials());
  ASSERT_EQ(trials.size(), 1u);
  EXPECT_EQ(trials[0].id, started.id);
  EXPECT_EQ(trials[0].feed, "roof");
  EXPECT_EQ(trials[0].antenna, "collinear");
  EXPECT_EQ(trials[0].receiver, "rx1");
  EXPECT_EQ(trials[0].mount, "gable");
  EXPECT_EQ(trials[0].rotation_deg, 90);
  EXPECT_EQ(trials[0].start_s, day_s);
  EXPECT_FALSE(trials[0].stop_s);
  EXPECT_EQ(trials[0].note, "after the storm");
}

TEST_F(TrialTest, EndsWhenTheNextOneOnItsFeedStarts) {
  must(store_.start_trial(trial_on("roof", "collinear", day_s)));
  must(store_.start_trial(trial_on("barn", "spider", day_s + 5)));
  must(store_.start_trial(trial_on("roof", "spider", day_s + 60)));
  const auto trials = must(store_.trials());
  ASSERT_EQ(trials.size(), 3u);
  EXPECT_EQ(trials[0].stop_s, day_s + 60);
  EXPECT_EQ(trials[1].feed, "barn");
  EXPECT_FALSE(trials[1].stop_s);
  EXPECT_FALSE(trials[2].stop_s);
}

TEST_F(TrialTest, MayBeEnteredAfterTheFact) {
  must(store_.start_trial(trial_on("roof", "collinear", day_s)));
  Trial past = trial_on("roof", "spider", day_s - 100);
  past.stop_s = day_s;
  must(store_.start_trial(past));
  EXPECT_FALSE(must(store_.trials()).at(1).stop_s) << "the running one goes on";
}

TEST_F(TrialTest, NeverSharesASecondWithAnotherOfItsFeed) {
  Trial first = trial_on("roof", "collinear", day_s);
  first.stop_s = day_s + 100;
  must(store_.start_trial(first));
  must(store_.start_trial(trial_on("roof", "collinear", day_s + 200)));
  const struct {
    const char* name;
    std::int64_t start_s;
    std::optional<std::int64_t> stop_s;
    bool accepted;
  } rows[] = {
      {"open end before a finished one", -10, {}, false},
      {"within a finished one", 10, 20, false},
      {"last second of a finished one", 99, 150, false},
      {"around a finished one", -10, 150, false},
      {"into the running one", 150, 201, false},
      {"before the running one's start, open", 150, {}, false},
      {"at the running one's start", 200, {}, false},
      {"touching both", 100, 200, true},
  };
  for (const auto& row : rows) {
    Trial trial = trial_on("roof", "spider", day_s + row.start_s);
    if (row.stop_s) trial.stop_s = day_s + *row.stop_s;
    const auto before = must(store_.trials()).size();
    const auto started = store_.start_trial(trial);
    EXPECT_EQ(started.has_value(), row.accepted) << row.name;
    EXPECT_EQ(must(store_.trials()).size(), before + (row.accepted ? 1 : 0)) << row.name;
    if (!started) {
      EXPECT_EQ(started.error().code, Errc::out_of_range) << row.name;
    }
  }
}

TEST_F(TrialTest, SaysWhichTrialIsInTheWay) {
  Trial first = trial_on("roof", "collinear", day_s);
  first.stop_s = day_s + 3600;
  must(store_.start_trial(first));
  const auto second = store_.start_trial(trial_on("roof", "spider", day_s + 60));
  ASSERT_FALSE(second);
  EXPECT_EQ(
      second.error().line(),
      "2026-03-01T00:01:00Z to now overlaps trial 1 of feed \"roof\" (2026-03-01T00:00:00Z to "
      "2026-03-01T01:00:00Z); choose another time: see roundel trial list");
}

TEST_F(TrialTest, IsRefusedWithValuesThatMakeNoSense) {
  const struct {
    const char* name;
    void (*spoil)(Trial&);
  } rows[] = {
      {"rotation 360", [](Trial& trial) { trial.rotation_deg = 360; }},
      {"negative rotation", [](Trial& trial) { trial.rotation_deg = -1; }},
      {"rotation is no number", [](Trial& trial) { trial.rotation_deg = std::nan(""); }},
      {"before 1970", [](Trial& trial) { trial.start_s = -1; }},
      {"milliseconds", [](Trial& trial) { trial.start_s *= 1000; }},
      {"stops when it starts", [](Trial& trial) { trial.stop_s = trial.start_s; }},
      {"no antenna", [](Trial& trial) { trial.antenna.clear(); }},
      {"comma in a name", [](Trial& trial) { trial.mount = "gable,south"; }},
      {"line end in a name", [](Trial& trial) { trial.feed = "ro\nof"; }},
  };
  for (const auto& row : rows) {
    Trial trial = trial_on("roof", "collinear", day_s);
    row.spoil(trial);
    const auto started = store_.start_trial(trial);
    ASSERT_FALSE(started) << row.name;
    EXPECT_EQ(started.error().code, Errc::out_of_range) << row.name;
  }
  EXPECT_TRUE(must(store_.trials()).empty());
  EXPECT_TRUE(must(store_.antennas()).empty()) << "a refused trial leaves no names behind";
}

TEST_F(TrialTest, StopsOnlyAfterItsStart) {
  must(store_.start_trial(trial_on("roof", "collinear", day_s)));
  const auto early = store_.stop_trial("roof", day_s);
  ASSERT_FALSE(early);
  EXPECT_EQ(early.error().code, Errc::out_of_range);
  EXPECT_EQ(must(store_.stop_trial("roof", day_s + 1)).stop_s, day_s + 1);
}

TEST_F(TrialTest, CannotBeStoppedWhereNoneRuns) {
  must(store_.start_trial(trial_on("barn", "collinear", day_s)));
  const auto stopped = store_.stop_trial("roof", day_s + 60);
  ASSERT_FALSE(stopped);
  EXPECT_EQ(stopped.error().code, Errc::not_found);
  EXPECT_EQ(stopped.error().line(),
            "no trial runs on feed \"roof\"; feeds with a running trial: barn");
}

TEST_F(TrialTest, ReachesBackButNotIntoTheOneBefore) {
  Trial first = trial_on("roof", "collinear", day_s);
  first.stop_s = day_s + 100;
  must(store_.start_trial(first));
  const Id second = must(store_.start_trial(trial_on("roof", "spider", day_s + 200))).id;
  must(store_.extend_trial(second, day_s + 150));
  EXPECT_EQ(must(store_.trials()).at(1).start_s, day_s + 150);
  must(store_.extend_trial(second, day_s + 180));
  EXPECT_EQ(must(store_.trials()).at(1).start_s, day_s + 150) << "a later start changes nothing";
  EXPECT_EQ(store_.extend_trial(second, day_s + 99).error().code, Errc::out_of_range);
  EXPECT_EQ(store_.extend_trial(second + 1, day_s).error().code, Errc::not_found);
}

TEST_F(TrialTest, HasNotesInOrderOfTime) {
  const Id trial = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  must(store_.add_note({0, day_s + 50, trial, "reseated the connector"}));
  must(store_.add_note({0, day_s + 10, std::nullopt, "rain"}));
  const auto notes = must(store_.notes());
  ASSERT_EQ(notes.size(), 2u);
  EXPECT_EQ(notes[0].text, "rain");
  EXPECT_FALSE(notes[0].trial);
  EXPECT_EQ(notes[1].trial, trial);
  EXPECT_EQ(notes[1].time_s, day_s + 50);
  EXPECT_EQ(store_.add_note({0, day_s, trial + 1, "x"}).error().code, Errc::not_found);
  EXPECT_EQ(store_.add_note({0, day_s, trial, ""}).error().code, Errc::out_of_range);
}

TEST_F(TrialTest, EachChangeCountsTheVersionUpByOneAndARefusalDoesNot) {
  Store other = must(Store::open(file_, Store::Access::write));
  auto version = must(store_.trials_version());
  const auto grew = [&] {
    const auto before = std::exchange(version, must(store_.trials_version()));
    return version - before;
  };
  const Id trial = must(other.start_trial(trial_on("roof", "collinear", day_s))).id;
  EXPECT_EQ(grew(), 1);
  must(other.extend_trial(trial, day_s - 1));
  EXPECT_EQ(grew(), 1);
  must(other.add_note({0, day_s, trial, "rain"}));
  EXPECT_EQ(grew(), 1);
  EXPECT_FALSE(other.stop_trial("roof", 0));
  EXPECT_FALSE(other.stop_trial("barn", day_s + 1));
  EXPECT_EQ(grew(), 0);
  must(other.stop_trial("roof", day_s + 1));
  EXPECT_EQ(grew(), 1);
}

}  // namespace
}  // namespace roundel::schema
