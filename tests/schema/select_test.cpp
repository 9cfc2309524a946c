#include <gmock/gmock.h>

#include <functional>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

// Four trials; flight n belongs to trial n, with a cell every window of its trial's first 100.
//   1 roof  collinear rx1 gable  day_s        .. + 1000
//   2 roof  spider    rx1 gable  day_s + 1000 ..
//   3 barn  spider    rx2 chimney day_s       .. + 1000
//   4 barn  collinear rx2 gable  day_s + 1000 ..
class SelectTest : public testing::Test {
 protected:
  SelectTest() {
    const struct {
      const char *feed, *antenna, *receiver, *mount;
      std::int64_t start_s;
    } rows[] = {{"roof", "collinear", "rx1", "gable", day_s},
                {"roof", "spider", "rx1", "gable", day_s + 1000},
                {"barn", "spider", "rx2", "chimney", day_s},
                {"barn", "collinear", "rx2", "gable", day_s + 1000}};
    Batch batch;
    batch.feed = must(store_.feed_id("roof"));
    for (const auto& row : rows) {
      Trial trial;
      trial.feed = row.feed;
      trial.antenna = row.antenna;
      trial.receiver = row.receiver;
      trial.mount = row.mount;
      trial.start_s = row.start_s;
      const Id id = must(store_.start_trial(trial)).id;
      batch.flights.push_back(flight_of(id, id, row.start_s / window_s));
      batch.flights.back().last_window = row.start_s / window_s + 99;
      for (int i = 0; i < 100; ++i) batch.cells.push_back(cell_at(row.start_s / window_s + i, id));
    }
    must(store_.commit(batch));
  }

  Folder folder_;
  Store store_ = must(Store::open(folder_ / "roundel.db", Store::Access::record));
};

TEST_F(SelectTest, EveryKeyPicksItsOwn) {
  const struct {
    const char* name;
    std::function<void(Selection&)> ask;
    std::vector<Id> trials;
    std::size_t n_cells;
  } rows[] = {
      {"nothing asked", [](Selection&) {}, {1, 3, 2, 4}, 400},
      {"antenna", [](Selection& s) { s.antenna = "spider"; }, {3, 2}, 200},
      {"receiver", [](Selection& s) { s.receiver = "rx1"; }, {1, 2}, 200},
      {"mount", [](Selection& s) { s.mount = "chimney"; }, {3}, 100},
      {"feed", [](Selection& s) { s.feed = "barn"; }, {3, 4}, 200},
      {"one trial", [](Selection& s) { s.trials = {4}; }, {4}, 100},
      {"two trials",
       [](Selection& s) {
         s.trials = {4, 1};
       },
       {1, 4},
       200},
      {"antenna and feed", [](Selection& s) { s.antenna = "spider", s.feed = "barn"; }, {3}, 100},
      {"keys that never meet", [](Selection& s) { s.mount = "chimney", s.feed = "roof"; }, {}, 0},
      {"from", [](Selection& s) { s.from_s = day_s + 1500; }, {2, 4}, 100},
      {"to", [](Selection& s) { s.to_s = day_s + 500; }, {1, 3}, 100},
      {"from and to",
       [](Selection& s) { s.from_s = day_s + 990, s.to_s = day_s + 1010; },
       {1, 3, 2, 4},
       4},
      {"from within a window leaves it out",
       [](Selection& s) { s.from_s = day_s + 990.5, s.to_s = day_s + 1010; },
       {1, 3, 2, 4},
       2},
      {"far past", [](Selection& s) { s.to_s = -1e12; }, {}, 0},
      {"far future", [](Selection& s) { s.from_s = 1e15; }, {}, 0},
  };
  for (const auto& row : rows) {
    Selection which;
    row.ask(which);
    const auto cells = cells_of(store_, which);
    EXPECT_EQ(cells.size(), row.n_cells) << row.name;
    if (!std::string_view(row.name).starts_with("from within")) {
      std::vector<Id> trials;
      for (const Trial& trial : must(store_.trials(which))) trials.push_back(trial.id);
      EXPECT_EQ(trials, row.trials) << row.name;
    }
    EXPECT_TRUE(std::is_sorted(cells.begin(), cells.end(), [](const Cell& a, const Cell& b) {
      return std::pair(a.window, a.flight) < std::pair(b.window, b.flight);
    })) << row.name;
  }
}

TEST_F(SelectTest, FlightsAreThoseWithCellsInTheTime) {
  Selection which;
  which.to_s = day_s + 1000;
  std::vector<Id> ids;
  for (const Flight& flight : must(store_.flights(which))) ids.push_back(flight.id);
  EXPECT_EQ(ids, (std::vector<Id>{1, 3}));
}

TEST_F(SelectTest, FlightsOfEachAreThoseOfEachAlone) {
  std::array<Selection, 3> each;
  each[0].to_s = day_s + 1000;
  each[1].antenna = "spider";
  each[2].from_s = day_s + 1000;
  const auto found = must(store_.flights_of_each(each));
  ASSERT_EQ(found.size(), each.size());
  const auto ids = [](const std::vector<Flight>& flights) {
    std::vector<Id> out;
    for (const Flight& flight : flights) out.push_back(flight.id);
    return out;
  };
  for (std::size_t i = 0; i < each.size(); ++i) {
    EXPECT_FALSE(found[i].empty()) << i;
    EXPECT_EQ(ids(found[i]), ids(must(store_.flights(each[i])))) << i;
  }
  EXPECT_TRUE(must(store_.flights_of_each({})).empty());
}

TEST_F(SelectTest, UnknownNamesAreAnErrorThatNamesTheKnown) {
  const struct {
    std::function<void(Selection&)> ask;
    const char* end;
  } rows[] = {
      {[](Selection& s) { s.antenna = "yagi"; },
       "there is no antenna \"yagi\"; it knows: collinear, spider"},
      {[](Selection& s) { s.receiver = "rx3"; },
       "there is no receiver \"rx3\"; it knows: rx1, rx2"},
      {[](Selection& s) { s.mount = "mast"; },
       "there is no mount \"mast\"; it knows: gable, chimney"},
      {[](Selection& s) { s.feed = "Roof"; }, "there is no feed \"Roof\"; it knows: roof, barn"},
      {[](Selection& s) {
         s.trials = {1, 9};
       },
       "there is no trial 9; it knows: 1, 3, 2, 4"},
  };
  for (const auto& row : rows) {
    Selection which;
    row.ask(which);
    const auto visited = store_.each_cell(which, [](const Cell&) { return true; });
    ASSERT_FALSE(visited) << row.end;
    EXPECT_EQ(visited.error().code, Errc::not_found);
    EXPECT_THAT(visited.error().line(), testing::EndsWith(row.end));
    EXPECT_FALSE(store_.trials(which)) << row.end;
    EXPECT_FALSE(store_.flights(which)) << row.end;
  }
}

// "I swapped it at + 1500 and forgot to say so": what came after is no longer the spider's.
TEST_F(SelectTest, ATrialStoppedInHindsightLosesWhatCameAfter) {
  must(store_.stop_trial("roof", day_s + 1500));
  Selection which;
  which.trials = {2};
  const auto cells = cells_of(store_, which);
  ASSERT_EQ(cells.size(), 50u);
  EXPECT_EQ(cells.back().window, day_window + 149);
}

TEST_F(SelectTest, AVisitorMayReadFromTheSameStore) {
  int visits = 0;
  must(store_.each_cell({}, [&](const Cell& cell) {
    EXPECT_EQ(must(store_.trials()).size(), 4u);
    Selection one;
    one.trials = {cell.flight};
    EXPECT_EQ(cells_of(store_, one).size(), 100u);
    return ++visits < 3;
  }));
  EXPECT_EQ(visits, 3);
}

}  // namespace
}  // namespace roundel::schema
