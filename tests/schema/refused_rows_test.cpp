// A row that a table refuses is lost alone, and its reports are counted as lost.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

class RefusedRows : public testing::Test {
 protected:
  /// Cells of flights 1 and 2 in windows 0 to 99, 12 reports each, as `stored`.
  Batch batch(Id first_window = 0) const {
    Batch out;
    out.feed = feed_;
    out.hour_s = day_s;
    for (const Id id : {1, 2}) {
      out.flights.push_back(flight_of(id, trial_, day_window));
      for (Id window = first_window; window < first_window + 100; ++window)
        out.cells.push_back(cell_at(day_window + window, id));
    }
    out.tally = {{"received", 2400}, {"stored", 2400}};
    return out;
  }
  /// Lets a table refuse the rows for which this is so.
  void let_refuse(const std::string& table, const std::string& condition) {
    Client(file_).rows("CREATE TRIGGER refuse_" + table + " BEFORE INSERT ON " + table + " WHEN " +
                       condition + " BEGIN SELECT raise(ABORT, 'not this one'); END");
  }
  void expect_counts(std::int64_t received, std::int64_t refused) {
    const Tally tally = must(store_.tally(feed_));
    EXPECT_EQ(tally.at("received"), received);
    EXPECT_EQ(tally.at("stored"), received - refused);
    EXPECT_EQ(tally.contains("refused") ? tally.at("refused") : 0, refused);
    const auto& reports_of = store_.refused().reports_of;
    EXPECT_EQ(reports_of.contains(feed_) ? reports_of.at(feed_) : 0, refused);
  }
  std::int64_t heard_in_cells() {
    std::int64_t heard = 0;
    for (const Cell& cell : cells_of(store_)) heard += cell.heard;
    return heard;
  }
  std::string window_is(std::int64_t window) {
    return "NEW.id >> 24 = " + std::to_string(day_window + window);
  }

  Folder folder_;
  std::filesystem::path file_ = folder_ / "roundel.db";
  Store store_ = must(Store::open(file_, Store::Access::record));
  Id other_feed_ = must(store_.feed_id("barn"));
  Id feed_ = must(store_.feed_id("roof"));
  Id trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
};

TEST_F(RefusedRows, OfValuesThatNoTableHoldsAreLostAlone) {
  Batch bad = batch();
  bad.cells[10].signal_dbfs = 1e300;
  bad.cells[20].signal_dbfs = std::nan("");
  bad.cells[30].altitude_ft = -std::numeric_limits<double>::infinity();
  bad.cells[40].latitude_deg = 91;
  bad.cells[50].expected = 0;
  bad.cells[60].window = -1;
  bad.cells[70].flight = 0;
  bad.cells[80].flight = max_flight_id + 1;
  bad.cells[90].uncertainty_km = 3300;
  must(store_.commit(bad));
  EXPECT_EQ(cells_of(store_).size(), 191u);
  EXPECT_EQ(store_.refused().rows, 9);
  expect_counts(2400, 9 * 12);
}

TEST_F(RefusedRows, OfATableAreLostAlone) {
  let_refuse("recent_cell", window_is(50));
  must(store_.commit(batch()));
  EXPECT_EQ(cells_of(store_).size(), 198u);
  EXPECT_EQ(store_.refused().rows, 2);
  EXPECT_EQ(store_.refused().latest, "a value is outside what the table accepts (not this one)");
  expect_counts(2400, 24);
  EXPECT_EQ(heard_in_cells(), 2400 - 24);
}

TEST_F(RefusedRows, OfAppendedBatchesAreLostOnceHoweverOftenTheyAreWritten) {
  let_refuse("cell", window_is(50));
  must(store_.append(batch()));
  Batch wrong = batch(100);
  wrong.tally[""] = 1;
  ASSERT_FALSE(store_.append(wrong)) << "all that was appended is undone";
  EXPECT_EQ(store_.refused().rows, 0) << "nothing has been committed";
  wrong.tally.erase("");
  must(store_.append(wrong));
  must(store_.append(batch(200)));
  must(store_.commit(batch(300)));
  EXPECT_EQ(store_.refused().rows, 2);
  expect_counts(4 * 2400, 24);
  EXPECT_EQ(heard_in_cells(), 4 * 2400 - 24);
}

// A live recorder gives a cell that goes on at each commit, with all that was heard so far.
TEST_F(RefusedRows, OfACellThatGoesOnCountEachReportOnce) {
  must(store_.commit(batch()));
  let_refuse("recent_cell", window_is(150) + " AND NEW.heard > 4");
  for (const int heard : {3, 7, 12}) {
    Batch more;
    more.feed = other_feed_;  // whose batch brings it does not matter
    more.cells = {cell_at(day_window + 150, 1, heard)};
    must(store_.commit(more));
  }
  Batch counted;
  counted.feed = feed_;
  counted.hour_s = day_s;
  counted.tally = {{"received", 12}, {"stored", 12}};
  must(store_.commit(counted));
  EXPECT_EQ(heard_in_cells(), 2403) << "the first state was stored";
  expect_counts(2412, 9);
}

TEST_F(RefusedRows, OfAFlightTakeItsCellsWithThem) {
  let_refuse("flight", "NEW.id = 2");
  must(store_.commit(batch()));
  Batch later = batch(100);
  later.flights.clear();  // known, as the recorder believes
  must(store_.commit(later));
  EXPECT_EQ(cells_of(store_).size(), 200u);
  EXPECT_EQ(Client(file_).one("SELECT count(*) FROM recent_cell"), "200")
      << "cells without a flight are of no use";
  expect_counts(4800, 2400);
  Client(file_).rows("DROP TRIGGER refuse_flight");
  must(store_.commit(batch(200)));
  EXPECT_EQ(cells_of(store_).size(), 400u);
  expect_counts(7200, 2400);
}

TEST_F(RefusedRows, OfAFlightOfNoTrialAreCounted) {
  Batch orphan = batch();
  orphan.flights[0].trial = trial_ + 1;
  must(store_.commit(orphan));
  EXPECT_EQ(must(store_.flights({})).size(), 1u);
  EXPECT_EQ(store_.refused().rows, 101);
  expect_counts(2400, 1200);
}

}  // namespace
}  // namespace roundel::schema
