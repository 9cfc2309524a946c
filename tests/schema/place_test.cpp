// Cells follow their time when trials are changed in hindsight.
#include <gtest/gtest.h>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

// One trial of two hours, one flight with a cell in every window from 30 min to 90 min.
class PlaceTest : public testing::Test {
 protected:
  static constexpr std::int64_t first = day_window + 180, last = day_window + 539;

  void SetUp() override {
    first_trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
    Batch batch;
    batch.feed = must(store_.feed_id("roof"));
    Flight flight = flight_of(1, first_trial_, first);
    flight.last_window = last;
    batch.flights = {flight};
    for (std::int64_t window = first; window <= last; ++window)
      batch.cells.push_back(cell_at(window, 1));
    must(store_.commit(batch));
  }
  std::int64_t place() { return must(store_.place_cells(must(store_.next_flight_id()))).cells; }
  std::size_t n_cells(Id trial) {
    return cells_of(store_, {.antenna = {},
                             .receiver = {},
                             .mount = {},
                             .feed = {},
                             .trials = {trial},
                             .from_s = {},
                             .to_s = {}})
        .size();
  }
  Trial spider() const { return trial_on("roof", "spider", 0); }

  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::record));
  Id first_trial_{};
};

TEST_F(PlaceTest, CellsBehindASplitGoToTheNewTrial) {
  const Trial made = must(store_.split_trial(first_trial_, day_s + 3600, spider()));
  EXPECT_EQ(n_cells(made.id), 0U);
  EXPECT_EQ(place(), 180);
  EXPECT_EQ(n_cells(first_trial_), 180U);
  EXPECT_EQ(n_cells(made.id), 180U);
  const auto flights = must(store_.flights({}));
  ASSERT_EQ(flights.size(), 2U);
  EXPECT_EQ(flights[0].last_window, day_window + 359);
  EXPECT_EQ(flights[1].first_window, day_window + 360);
  EXPECT_EQ(flights[1].last_window, last);
  EXPECT_EQ(flights[1].address, flights[0].address);
  EXPECT_EQ(place(), 0) << "once is enough";
}

TEST_F(PlaceTest, ATrialStartedLateTakesWhatIsOfItsTime) {
  const Id made = must(store_.start_trial(trial_on("roof", "spider", day_s + 5000))).id;
  EXPECT_EQ(place(), 40);
  EXPECT_EQ(n_cells(made), 40U);
  EXPECT_EQ(n_cells(first_trial_), 320U);
}

TEST_F(PlaceTest, AFlightThatLiesWhollyInAnotherTrialKeepsItsNumber) {
  const Trial made = must(store_.split_trial(first_trial_, day_s + 900, spider()));
  EXPECT_EQ(place(), 360);
  EXPECT_EQ(n_cells(made.id), 360U);
  EXPECT_EQ(must(store_.flights({})).size(), 1U);
}

TEST_F(PlaceTest, AnUndoneSplitLeavesAllCellsWithTheTrialOfBefore) {
  const Trial made = must(store_.split_trial(first_trial_, day_s + 3600, spider()));
  place();
  const Trial kept = must(store_.undo_trial(made.id));
  EXPECT_EQ(kept.id, first_trial_);
  EXPECT_FALSE(kept.stop_s);
  EXPECT_EQ(n_cells(first_trial_), 360U);
  EXPECT_EQ(must(store_.trials()).size(), 1U);
}

TEST_F(PlaceTest, AnEndThatIsCorrectedTakesCellsBack) {
  const Trial made = must(store_.split_trial(first_trial_, day_s + 3600, spider()));
  place();
  Trial later = made;
  later.start_s = day_s + 4000;
  must(store_.change_trial(later));
  must(store_.set_trial_stop(first_trial_, day_s + 4000));
  EXPECT_EQ(place(), 40);
  EXPECT_EQ(n_cells(first_trial_), 220U);
  EXPECT_EQ(n_cells(made.id), 140U);
}

TEST_F(PlaceTest, WhatNoTrialCoversStaysUncountedAndComesBack) {
  must(store_.stop_trial("roof", day_s + 3600));
  EXPECT_EQ(place(), 0);
  EXPECT_EQ(n_cells(first_trial_), 180U);
  must(store_.set_trial_stop(first_trial_, {}));
  EXPECT_EQ(n_cells(first_trial_), 360U);
}

TEST_F(PlaceTest, HoursThatHadBeenSummarisedAreStale) {
  // As if both hours had been summarised.
  Client(file_).rows(
      "UPDATE summarised SET before_hour = " + std::to_string(day_s / 3600 + 2) +
      "; INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
      " detail) VALUES (" +
      std::to_string(((day_s / 3600 + 1) << 24) + first_trial_) + ", 180, 0, 1, 1, 0, 0, x'')");
  const Trial made = must(store_.split_trial(first_trial_, day_s + 3600, spider()));
  place();
  const auto stale = must(store_.summary_state()).stale;
  const auto is_stale = [&](Id trial) {
    return std::ranges::any_of(
        stale, [&](const auto& one) { return one.hour_s == day_s + 3600 && one.trial == trial; });
  };
  EXPECT_TRUE(is_stale(first_trial_));
  EXPECT_TRUE(is_stale(made.id));
}

TEST_F(PlaceTest, HoursWhoseCellsAreGoneGoAsAWhole) {
  for (const std::int64_t hour : {3, 4, 5})
    Client(file_).rows(
        "INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
        " detail) VALUES (" +
        std::to_string(((day_s / 3600 + hour) << 24) + first_trial_) + ", 9, 0, 9, 9, 0, 1, x'')");
  const Trial made = must(store_.split_trial(first_trial_, day_s + 4 * 3600 + 1800, spider()));
  place();
  EXPECT_EQ(Client(file_).rows("SELECT hour_s, trial FROM summary WHERE cells_gone = 1"),
            (std::vector<std::string>{std::to_string(day_s + 3 * 3600) + "|1",
                                      std::to_string(day_s + 4 * 3600) + "|1",
                                      std::to_string(day_s + 5 * 3600) + "|2"}))
      << "the hour of the split cannot be divided";
  must(store_.undo_trial(made.id));
  EXPECT_EQ(Client(file_).one("SELECT count(*) FROM summary WHERE trial = 1 AND cells_gone = 1"),
            "3");
}

TEST_F(PlaceTest, ASplitOutsideItsTrialSaysWhatIsWrong) {
  const auto split = store_.split_trial(first_trial_, day_s, spider());
  ASSERT_FALSE(split);
  EXPECT_EQ(split.error().line(),
            "2026-03-01T00:00:00Z is not within trial 1 (2026-03-01T00:00:00Z to now); choose a "
            "time within it: see roundel trial list");
}

// The recorder learns of it a second later, and may have begun a flight meanwhile.
TEST_F(PlaceTest, AFlightOfATrialThatWasTakenBackIsOfTheOneOfItsTime) {
  const Trial made = must(store_.split_trial(first_trial_, day_s + 3600, spider()));
  must(store_.undo_trial(made.id));
  Batch batch;
  batch.feed = must(store_.feed_id("roof"));
  batch.flights = {flight_of(7, made.id, day_window + 600)};
  batch.cells = {cell_at(day_window + 600, 7)};
  must(store_.commit(batch));
  EXPECT_EQ(store_.refused().rows, 0);
  EXPECT_EQ(n_cells(first_trial_), 361U);
}

TEST_F(PlaceTest, ANameThatIsRenamedToAKnownOneBecomesThatOne) {
  must(store_.split_trial(first_trial_, day_s + 3600, trial_on("roof", "spinder", 0)));
  must(store_.start_trial(trial_on("barn", "spider", day_s)));
  must(store_.rename(Store::Part::antenna, "spinder", "spider"));
  const auto antennas = must(store_.antennas());
  ASSERT_EQ(antennas.size(), 2U);
  EXPECT_EQ(must(store_.trials()).back().antenna, "spider");
  const auto unknown = store_.rename(Store::Part::mount, "roof", "gable");
  ASSERT_FALSE(unknown);
  EXPECT_EQ(unknown.error().line(), "there is no mount \"roof\"; the database knows: gable");
}

TEST_F(PlaceTest, WhatAFeedIsLikeComesBack) {
  Batch batch;
  batch.feed = must(store_.feed_id("roof"));
  EXPECT_FALSE(must(store_.traits(batch.feed)));
  batch.traits = {5, 0.001, 0.25};
  must(store_.commit(batch));
  const auto traits = must(store_.traits(batch.feed));
  ASSERT_TRUE(traits);
  EXPECT_EQ(traits->position_step_deg, 0.001);
  EXPECT_EQ(traits->crowded_share, 0.25);
}

}  // namespace
}  // namespace roundel::schema
