#include "roundel/schema/store.h"

#include <gmock/gmock.h>

#include <algorithm>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

class StoreTest : public testing::Test {
 protected:
  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::record));
  Id feed_ = must(store_.feed_id("roof"));
  Id trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;

  Batch batch(std::vector<Cell> cells) const {
    Batch batch;
    batch.feed = feed_;
    batch.cells = std::move(cells);
    return batch;
  }
  void add_flights(std::initializer_list<Id> ids) {
    Batch batch;
    batch.feed = feed_;
    for (const Id id : ids) batch.flights.push_back(flight_of(id, trial_, day_window));
    must(store_.commit(batch));
  }
};

TEST_F(StoreTest, ReturnsASiteAsItWasSet) {
  EXPECT_FALSE(must(store_.site()));
  must(store_.set_site({"Hill house", 52.1, 19.4, 110, 12, 100}));
  must(store_.set_site({"Hill house", 52.2, -19.4, 111, 13, 101}));
  const auto site = must(store_.site());
  ASSERT_TRUE(site);
  EXPECT_EQ(site->name, "Hill house");
  EXPECT_EQ(site->latitude_deg, 52.2);
  EXPECT_EQ(site->longitude_deg, -19.4);
  EXPECT_EQ(site->ground_m, 111);
  EXPECT_EQ(site->antenna_m, 13);
  EXPECT_EQ(site->surface_m, 101);
}

TEST_F(StoreTest, RefusesAPlaceThatIsNotOnEarth) {
  const auto set = store_.set_site({"Hill house", 152.1, 19.4, 110, 12, 100});
  ASSERT_FALSE(set);
  EXPECT_EQ(set.error().code, Errc::out_of_range);
  EXPECT_FALSE(must(store_.site()));
}

TEST_F(StoreTest, KnowsAFeedByItsName) {
  EXPECT_EQ(must(store_.feed_id("roof")), feed_);
  EXPECT_NE(must(store_.feed_id("barn")), feed_);
  EXPECT_EQ(must(store_.feeds()).size(), 2u);
}

TEST_F(StoreTest, ReturnsACellAsItWasCommitted) {
  add_flights({7});
  Cell cell = cell_at(day_window + 3, 7, 11);
  cell.expected = 17;
  cell.latitude_deg = -33.8567;
  cell.longitude_deg = -179.9999;
  cell.altitude_ft = 35975;
  cell.signal_dbfs = -21.5;
  cell.uncertainty_km = 1.7;
  must(store_.commit(batch({cell})));
  const auto cells = cells_of(store_);
  ASSERT_EQ(cells.size(), 1u);
  EXPECT_EQ(cells[0].window, day_window + 3);
  EXPECT_EQ(cells[0].flight, 7);
  EXPECT_EQ(cells[0].heard, 11);
  EXPECT_EQ(cells[0].expected, 17);
  EXPECT_DOUBLE_EQ(cells[0].latitude_deg, -33.8567);
  EXPECT_DOUBLE_EQ(cells[0].longitude_deg, -179.9999);
  EXPECT_EQ(cells[0].altitude_ft, 35975);
  EXPECT_EQ(cells[0].signal_dbfs, -21.5);
  EXPECT_DOUBLE_EQ(cells[0].uncertainty_km, 1.7);
}

TEST_F(StoreTest, RoundsToTheStepsOfTheTable) {
  add_flights({1});
  Cell cell = cell_at(day_window, 1);
  cell.latitude_deg = 52.12346;
  cell.longitude_deg = -0.00004;
  cell.altitude_ft = 1013;  // nearest 25 ft step: 1025 is 12 away, 1000 is 13
  cell.signal_dbfs = -21.3;
  cell.uncertainty_km = 0.26;
  must(store_.commit(batch({cell})));
  const Cell stored = cells_of(store_).at(0);
  EXPECT_DOUBLE_EQ(stored.latitude_deg, 52.1235);
  EXPECT_DOUBLE_EQ(stored.longitude_deg, 0);
  EXPECT_EQ(stored.altitude_ft, 1025);
  EXPECT_EQ(stored.signal_dbfs, -21.5);
  EXPECT_DOUBLE_EQ(stored.uncertainty_km, 0.3);
}

TEST_F(StoreTest, LetsALaterCellReplaceAnEarlierOne) {
  add_flights({1, 2});
  must(store_.commit(batch({cell_at(day_window, 1, 3), cell_at(day_window, 2, 4)})));
  must(store_.commit(batch({cell_at(day_window, 1, 9)})));
  must(store_.commit(batch({cell_at(day_window, 2, 5), cell_at(day_window, 2, 6)})));
  const auto cells = cells_of(store_);
  ASSERT_EQ(cells.size(), 2u);
  EXPECT_EQ(cells[0].heard, 9);
  EXPECT_EQ(cells[1].heard, 6) << "of two in one batch the later stays";
}

// Settled and waiting cells lie in two tables; a cell may arrive for either, at any time.
TEST_F(StoreTest, ReturnsEveryCellOnceInOrderHoweverLateItCame) {
  add_flights({1, 2, 3});
  std::vector<std::pair<std::int64_t, Id>> expected;
  for (const std::int64_t begin : {0, 500, 250, 40, 2000, 1850})
    for (const int batch_windows : {1, 100}) {
      Batch part = batch({});
      for (int i = batch_windows - 1; i >= 0; --i)
        for (const Id flight : {Id{3}, Id{1}}) {
          part.cells.push_back(cell_at(day_window + begin + i, flight));
          expected.emplace_back(day_window + begin + i, flight);
        }
      must(store_.commit(part));
    }
  std::sort(expected.begin(), expected.end());
  expected.erase(std::unique(expected.begin(), expected.end()), expected.end());
  std::vector<std::pair<std::int64_t, Id>> found;
  for (const Cell& cell : cells_of(store_)) found.emplace_back(cell.window, cell.flight);
  EXPECT_EQ(found, expected);
  Client client(file_);
  EXPECT_NE(client.one("SELECT count(*) FROM cell"), "0");
  EXPECT_NE(client.one("SELECT count(*) FROM recent_cell"), "0");
  EXPECT_EQ(client.one("SELECT (SELECT max(window) FROM cell) < before_window AND"
                       " (SELECT min(window) FROM recent_cell) >= before_window FROM settled"),
            "1");
}

TEST_F(StoreTest, StopsVisitingWhenTold) {
  add_flights({1});
  must(store_.commit(batch({cell_at(day_window, 1), cell_at(day_window + 1, 1)})));
  int visits = 0;
  must(store_.each_cell({}, [&](const Cell&) { return ++visits < 1; }));
  EXPECT_EQ(visits, 1);
}

TEST_F(StoreTest, StoresAllOfABatchOrNothing) {
  Batch wrong = batch({cell_at(day_window, 1), cell_at(day_window + 1, 1)});
  wrong.flights.push_back(flight_of(1, trial_, day_window));
  wrong.tally["received"] = 40;
  wrong.coverage.push_back({feed_, day_s, day_s - 1});
  const auto committed = store_.commit(wrong);
  ASSERT_FALSE(committed);
  EXPECT_EQ(committed.error().code, Errc::out_of_range);
  EXPECT_TRUE(cells_of(store_).empty());
  EXPECT_EQ(must(store_.next_flight_id()), 1);
  EXPECT_TRUE(must(store_.tally(feed_)).empty());
  wrong.coverage[0].to_s = day_s;
  must(store_.commit(wrong));
  EXPECT_EQ(cells_of(store_).size(), 2u);
}

TEST_F(StoreTest, KeepsAFlightOpenUntilItsLastWindowIsKnown) {
  add_flights({1, 2});
  EXPECT_EQ(must(store_.next_flight_id()), 3);
  EXPECT_EQ(must(store_.open_flights(feed_)).size(), 2u);
  Batch closing = batch({});
  closing.flights.push_back(flight_of(1, trial_, day_window));
  closing.flights[0].last_window = day_window + 60;
  must(store_.commit(closing));
  const auto open = must(store_.open_flights(feed_));
  ASSERT_EQ(open.size(), 1u);
  EXPECT_EQ(open[0].id, 2);
  EXPECT_EQ(open[0].trial, trial_);
  EXPECT_EQ(open[0].address, 0x4b1602u);
  EXPECT_EQ(open[0].first_window, day_window);
  EXPECT_EQ(must(store_.flights({})).at(0).last_window, day_window + 60);
  EXPECT_TRUE(must(store_.open_flights(must(store_.feed_id("barn")))).empty());
}

TEST_F(StoreTest, KeepsAddressesOf64Bits) {
  Batch hashed = batch({});
  hashed.flights.push_back(flight_of(1, trial_, day_window));
  hashed.flights[0].address = 0xfedcba9876543210u;
  must(store_.commit(hashed));
  EXPECT_EQ(must(store_.flights({})).at(0).address, 0xfedcba9876543210u);
}

TEST_F(StoreTest, AddsTalliesUpByFeedAndHour) {
  const Id barn = must(store_.feed_id("barn"));
  const auto add = [&](Id feed, std::int64_t hour_s, Tally tally) {
    Batch batch;
    batch.feed = feed;
    batch.hour_s = hour_s;
    batch.tally = std::move(tally);
    must(store_.commit(batch));
  };
  add(feed_, day_s, {{"received", 10}, {"stored", 8}, {"stale", 2}});
  add(feed_, day_s, {{"received", 5}, {"stored", 5}});
  add(feed_, day_s + 3600, {{"received", 1}, {"repeat", 1}});
  add(barn, day_s, {{"received", 100}, {"stored", 100}});
  EXPECT_EQ(must(store_.tally(feed_)),
            (Tally{{"received", 16}, {"repeat", 1}, {"stale", 2}, {"stored", 13}}));
  EXPECT_EQ(must(store_.tally(feed_, day_s, day_s + 3600)),
            (Tally{{"received", 15}, {"stale", 2}, {"stored", 13}}));
  EXPECT_EQ(must(store_.tally(feed_, day_s + 1)), (Tally{{"received", 1}, {"repeat", 1}}));
  EXPECT_EQ(must(store_.tally(std::nullopt)).at("received"), 116);
  add(feed_, day_s + 7200, {{"another", 1}, {"received", 1}});
  EXPECT_EQ(must(store_.tallies()), (std::map<Id, Tally>{{feed_, must(store_.tally(feed_))},
                                                         {barn, must(store_.tally(barn))}}));
  Batch long_batch;
  long_batch.feed = barn;
  long_batch.hour_s = day_s + 7200;
  long_batch.tally = {{"received", 3}};
  long_batch.earlier[day_s] = {{"received", 1}};
  long_batch.earlier[day_s + 3600] = {{"received", 2}};
  must(store_.commit(long_batch));
  EXPECT_EQ(must(store_.tally(barn, day_s, day_s + 3600)).at("received"), 101);
  EXPECT_EQ(must(store_.tally(barn, day_s + 3600, day_s + 7200)).at("received"), 2);
  EXPECT_EQ(must(store_.tally(barn, day_s + 7200)).at("received"), 3);
}

TEST_F(StoreTest, LetsCoverageGrow) {
  Batch batch;
  batch.feed = feed_;
  batch.coverage = {{feed_, day_s, day_s + 10}};
  must(store_.commit(batch));
  batch.coverage = {{feed_, day_s, day_s + 60}, {feed_, day_s + 500, day_s + 510}};
  must(store_.commit(batch));
  const auto coverage = must(store_.coverage(feed_));
  ASSERT_EQ(coverage.size(), 2u);
  EXPECT_EQ(coverage[0].to_s, day_s + 60);
  EXPECT_EQ(coverage[1].from_s, day_s + 500);
}

TEST_F(StoreTest, RemembersAFeedsClock) {
  EXPECT_FALSE(must(store_.clock(feed_)));
  Batch batch;
  batch.feed = feed_;
  batch.clock = FeedClock{1772323200.5, 1772323203.25};
  must(store_.commit(batch));
  const auto clock = must(store_.clock(feed_));
  ASSERT_TRUE(clock);
  EXPECT_EQ(clock->feed_time_s, 1772323200.5);
  EXPECT_EQ(clock->arrival_s, 1772323203.25);
}

TEST_F(StoreTest, CountsWhatItHolds) {
  EXPECT_EQ(must(store_.totals()).cells, 0);
  EXPECT_FALSE(must(store_.totals()).from_s);
  EXPECT_FALSE(must(store_.cell_span()));
  Batch batch;
  batch.feed = feed_;
  for (const Id id : {1, 2, 3}) batch.flights.push_back(flight_of(id, trial_, day_window));
  batch.flights[2].address = batch.flights[0].address;
  for (int i = 0; i < 400; ++i) batch.cells.push_back(cell_at(day_window + i, 1 + i % 3, i % 4));
  must(store_.commit(batch));
  const Totals totals = must(store_.totals());
  EXPECT_EQ(totals.cells, 400);
  EXPECT_EQ(totals.silent_cells, 100) << "every fourth";
  EXPECT_EQ(totals.flights, 3);
  EXPECT_EQ(totals.aircraft, 2);
  EXPECT_EQ(totals.from_s, day_s);
  EXPECT_EQ(totals.to_s, day_s + 4000);
  EXPECT_EQ(must(store_.cell_span())->from_s, day_s);
  EXPECT_EQ(must(store_.cell_span())->to_s, day_s + 4000);
  EXPECT_GT(totals.bytes, 400 * 20);
}

TEST_F(StoreTest, SumsByHour) {
  add_flights({1, 2});
  must(store_.commit(batch({cell_at(day_window, 1, 5), cell_at(day_window + 359, 2, 0),
                            cell_at(day_window + 360, 1, 7), cell_at(day_window + 9999, 2, 1)})));
  const auto hours = must(store_.hours({}));
  ASSERT_EQ(hours.size(), 3u);
  EXPECT_EQ(hours[0].hour_s, day_s);
  EXPECT_EQ(hours[0].heard, 5);
  EXPECT_EQ(hours[0].expected, 40);
  EXPECT_EQ(hours[1].hour_s, day_s + 3600);
  EXPECT_EQ(hours[1].heard, 7);
  EXPECT_EQ(hours[2].hour_s, day_s + 27 * 3600) << "99 990 s is in the 28th hour";
}

TEST_F(StoreTest, TellsReadersWhenSomethingWasCommitted) {
  const Store reader = must(Store::open(file_, Store::Access::read));
  const auto before = must(reader.data_version());
  EXPECT_EQ(must(reader.data_version()), before);
  add_flights({1});
  EXPECT_NE(must(reader.data_version()), before);
}

TEST_F(StoreTest, StaysTheSameWhenCompacted) {
  add_flights({1});
  for (const std::int64_t begin : {5000, 0}) {
    Batch part = batch({});
    for (int i = 0; i < 4000; ++i) part.cells.push_back(cell_at(day_window + begin + i, 1));
    must(store_.commit(part));
  }
  const auto before = must(store_.totals());
  must(store_.compact());
  const auto after = must(store_.totals());
  EXPECT_EQ(after.cells, before.cells);
  EXPECT_LT(after.bytes, before.bytes);
  EXPECT_EQ(std::filesystem::file_size(file_), static_cast<std::uintmax_t>(after.bytes));
}

TEST_F(StoreTest, MovesWithWhatItHolds) {
  add_flights({1});
  Store moved = std::move(store_);
  must(moved.commit(batch({cell_at(day_window, 1)})));
  store_ = std::move(moved);
  EXPECT_EQ(cells_of(store_).size(), 1u);
}

TEST_F(StoreTest, KnowsFlightsByNumber) {
  add_flights({1, 4, 9});
  const auto found = must(store_.flights_of(std::vector<Id>{9, 3, 1, 9, 70}));
  ASSERT_EQ(found.size(), 2U);
  EXPECT_EQ(found[0].id, 1);
  EXPECT_EQ(found[1].id, 9);
  EXPECT_EQ(found[1].address, 0x4b1609U);
  EXPECT_EQ(found[1].trial, trial_);
  EXPECT_FALSE(found[1].last_window);
  EXPECT_TRUE(must(store_.flights_of({})).empty());
}

// They are counted on from what was counted before; SQLite counts them all.
TEST_F(StoreTest, CountsFlightsAndAircraftAsTheyAre) {
  const Store reader = must(Store::open(file_, Store::Access::read));
  Client client(file_);
  const auto expect_as_counted = [&](std::int64_t flights, std::int64_t aircraft) {
    const Totals totals = must(reader.totals());
    EXPECT_EQ(totals.flights, flights);
    EXPECT_EQ(totals.aircraft, aircraft);
    EXPECT_EQ(client.one("SELECT count(*), count(DISTINCT address) FROM flight"),
              std::to_string(flights) + "|" + std::to_string(aircraft));
  };
  expect_as_counted(0, 0);
  add_flights({5, 6, 9});
  expect_as_counted(3, 3);
  Batch again = batch({});
  again.flights = {flight_of(10, trial_, day_window), flight_of(11, trial_, day_window + 500)};
  again.flights[0].address = flight_of(6, trial_, 0).address;
  again.flights[1].last_window = day_window + 600;
  must(store_.commit(again));
  expect_as_counted(5, 4);
  add_flights({2, 3});  // lower than those counted
  expect_as_counted(7, 6);
  add_flights({1, 12});
  expect_as_counted(9, 8);
  Batch ended = batch({});
  for (const Id id : {1, 2, 6, 10}) {
    ended.flights.push_back(flight_of(id, trial_, day_window));
    ended.flights.back().last_window = day_window + 9;
    if (id == 10) ended.flights.back().address = flight_of(6, trial_, 0).address;
  }
  must(store_.commit(ended));
  EXPECT_EQ(must(store_.forget_addresses(day_s + 3600)), 4);
  expect_as_counted(9, 8);
}

// Settled, waiting, silent.
TEST_F(StoreTest, CountsCellsAsTheyAre) {
  add_flights({1, 2});
  Batch many = batch({});
  for (int i = 0; i < 1500; ++i)
    for (const Id flight : {1, 2})
      many.cells.push_back(cell_at(day_window + i, flight, (i + static_cast<int>(flight)) % 3));
  must(store_.commit(many));
  Client client(file_);
  EXPECT_NE(client.one("SELECT count(*) FROM cell"), "0");
  EXPECT_NE(client.one("SELECT count(*) FROM recent_cell"), "0");
  const Totals totals = must(store_.totals());
  EXPECT_EQ(totals.cells, 3000);
  EXPECT_EQ(totals.silent_cells, 1000);
}

}  // namespace
}  // namespace roundel::schema
