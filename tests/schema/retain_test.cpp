// Cells may go, an hour at a time; what they said stays.
#include <gmock/gmock.h>

#include "tests/schema/listing.h"

namespace roundel::schema {
namespace {

constexpr std::int64_t hour_windows = 360;

class Retain : public testing::Test {
 protected:
  Retain() : store_(must(Store::open(folder_ / "roundel.db", Store::Access::record))) {
    must(store_.keep_summaries(std::make_unique<Listing>()));
    batch_.feed = must(store_.feed_id("roof"));
    trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  }

  /// Cells in each of n hours, and one that completes them.
  void record(int n_hours, int cells_an_hour) {
    for (int hour = 0; hour < n_hours; ++hour) {
      for (int i = 0; i < cells_an_hour; ++i) {
        const Id flight = 1 + hour * 1000 + i / 100;
        if (i % 100 == 0)
          batch_.flights.push_back(flight_of(flight, trial_, day_window + hour * hour_windows));
        batch_.cells.push_back(cell_at(day_window + hour * hour_windows + i % 100, flight));
      }
      commit();
    }
    batch_.flights.push_back(flight_of(999'999, trial_, day_window + n_hours * hour_windows + 300));
    batch_.cells.push_back(cell_at(day_window + n_hours * hour_windows + 300, 999'999));
    commit();
    while (must(store_.summarise(10))) {
    }
  }
  void commit() {
    must(store_.commit(batch_));
    batch_.cells.clear();
    batch_.flights.clear();
  }
  std::vector<Summary> gone(SummaryPart part = SummaryPart::places) {
    std::vector<Summary> out;
    must(store_.each_summary({}, true, part, [&](const Summary& summary) {
      out.push_back(summary);
      return true;
    }));
    return out;
  }
  std::int64_t first_hour_with_cells() {
    return (must(store_.totals()).from_s.value_or(0) - day_s) / 3600;
  }

  Folder folder_;
  Store store_;
  Batch batch_;
  Id trial_{};
};

TEST_F(Retain, KeepsTheNewestHoursAndTheSummariesOfAll) {
  record(6, 100);
  const auto before = must(store_.totals());
  EXPECT_EQ(before.cells, 601);
  EXPECT_EQ(before.summarised_cells, 0);
  int steps = 0;
  while (must(store_.drop_cells({.hours = 4, .bytes = {}}))) ++steps;
  EXPECT_EQ(steps, 2) << "an hour at a time";
  const auto after = must(store_.totals());
  EXPECT_EQ(after.cells, 401);
  EXPECT_EQ(after.from_s, day_s + 2 * 3600);
  EXPECT_EQ(after.summarised_cells, 200);
  EXPECT_EQ(after.summarised_from_s, day_s);
  ASSERT_EQ(gone().size(), 2u);
  EXPECT_EQ(gone()[0].cells, 100);
  EXPECT_EQ(gone()[0].heard, 1200);
  Listing listing;
  const auto check = must(store_.check_summaries(listing));
  EXPECT_EQ(check.cells_gone, 2);
  EXPECT_EQ(check.wrong_hours_s, std::vector<std::int64_t>{});
}

TEST_F(Retain, KeepsASizeByItsCells) {
  record(6, 100);
  while (must(store_.drop_cells({.hours = {}, .bytes = 31 * 250}))) {
  }
  EXPECT_EQ(first_hour_with_cells(), 4) << "two hours of 100 cells at 31 bytes";
  EXPECT_FALSE(must(store_.drop_cells({})));
}

TEST_F(Retain, DropsNothingThatIsNotSummarised) {
  record(3, 100);
  // Late: the summary of the first hour is no longer true.
  batch_.cells.push_back(cell_at(day_window + 200, 1));
  commit();
  EXPECT_FALSE(must(store_.drop_cells({.hours = 0, .bytes = {}})));
  EXPECT_EQ(first_hour_with_cells(), 0);
  must(store_.summarise(10));
  while (must(store_.drop_cells({.hours = 0, .bytes = {}}))) {
  }
  EXPECT_EQ(must(store_.totals()).cells, 1) << "its hour is not over";
  EXPECT_EQ(gone()[0].cells, 101);
}

TEST_F(Retain, AddsWhatComesLateForAnHourWhoseCellsAreGone) {
  record(3, 100);
  while (must(store_.drop_cells({.hours = 1, .bytes = {}}))) {
  }
  ASSERT_EQ(gone().size(), 2u);
  const std::string before = gone()[0].detail.places;
  const std::string flights = gone(SummaryPart::flights)[0].detail.flights;
  batch_.cells.push_back(cell_at(day_window + 200, 1, 7));
  commit();
  must(store_.summarise(10));
  EXPECT_EQ(gone()[0].cells, 101);
  EXPECT_EQ(gone()[0].heard, 1207);
  EXPECT_EQ(gone()[0].detail.places, before + "+ 200:1:7 ");
  EXPECT_EQ(gone(SummaryPart::flights)[0].detail.flights, flights + "+ f200:1:7 ");
  EXPECT_EQ(must(store_.totals()).cells, 101) << "those late cells went, too";
}

TEST_F(Retain, AddsTheSameOnceWhereItIsAppendedInPieces) {
  record(3, 100);
  while (must(store_.drop_cells({.hours = 0, .bytes = {}}))) {
  }
  ASSERT_EQ(gone().size(), 3u);
  for (const int i : {0, 1, 2, 3}) {
    // The last cell of all, which keeps the rest from being older than any that is stored, goes.
    if (i == 0) Client(folder_ / "roundel.db").rows("DELETE FROM recent_cell");
    batch_.cells.push_back(cell_at(day_window + 200 + i, 1, 7));
    must(store_.append(batch_));
    batch_.cells.clear();
    must(store_.append([&] {
      Batch elsewhere = batch_;
      elsewhere.cells = {cell_at(day_window + 3 * hour_windows + 301, 999'999)};
      return elsewhere;
    }()));
  }
  must(store_.commit({}));
  must(store_.summarise(10));
  EXPECT_EQ(gone()[0].cells, 104);
  EXPECT_EQ(gone()[0].heard, 1228);
}

TEST_F(Retain, GivesTheSpaceBackInSteps) {
  record(20, 10'000);
  const auto file = folder_ / "roundel.db";
  const auto pages = [&] { return std::stol(Client(file).one("PRAGMA page_count")); };
  const auto free_pages = [&] { return std::stol(Client(file).one("PRAGMA freelist_count")); };
  const long full = pages();
  EXPECT_GT(full, 1400) << "200000 cells";
  int vacuums = 0;
  for (long before = full; must(store_.drop_cells({.hours = 2, .bytes = {}}));) {
    const long now = pages();
    EXPECT_GE(now, before - 257) << "at most a megabyte at a time, and a page of the map of pages";
    vacuums += now < before;
    before = now;
  }
  EXPECT_GE(vacuums, 2);
  EXPECT_LT(free_pages(), 1024) << "what is left will be filled anew";
  EXPECT_EQ(Client(file).one("PRAGMA integrity_check"), "ok");
}

}  // namespace
}  // namespace roundel::schema
