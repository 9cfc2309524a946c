#include <gtest/gtest.h>

#include <set>
#include <utility>

#include "roundel/simulate/simulate.h"

namespace roundel::simulate {
namespace {

Scenario short_one() {
  Scenario s;
  s.seed = 7;
  s.hours = 3;
  return s;
}

TEST(Cells, ComeByWindowThenFlight) {
  const auto set = cells(short_one());
  ASSERT_TRUE(set);
  ASSERT_GT(set->cells.size(), 5000U);
  for (std::size_t i = 1; i < set->cells.size(); ++i) {
    const auto &a = set->cells[i - 1], &b = set->cells[i];
    ASSERT_LT(std::pair(a.window, a.flight), std::pair(b.window, b.flight)) << i;
  }
}

TEST(Cells, FlightsSayWhereTheyBeginAndEnd) {
  const auto set = cells(short_one());
  ASSERT_TRUE(set);
  std::vector<std::pair<std::int64_t, std::int64_t>> span(set->flights.size(), {0, 0});
  for (const auto& cell : set->cells) {
    auto& [first, last] = span.at(static_cast<std::size_t>(cell.flight - 1));
    if (first == 0) first = cell.window;
    last = cell.window;
  }
  for (std::size_t i = 0; i < span.size(); ++i) {
    EXPECT_EQ(set->flights[i].id, static_cast<schema::Id>(i + 1));
    EXPECT_EQ(set->flights[i].first_window, span[i].first);
    EXPECT_EQ(set->flights[i].last_window, span[i].second);
  }
}

TEST(Cells, SilentCellsStandOnlyBetweenHeardOnes) {
  const auto set = cells(short_one());
  ASSERT_TRUE(set);
  std::vector<std::vector<schema::Cell>> by_flight(set->flights.size());
  for (const auto& cell : set->cells)
    by_flight.at(static_cast<std::size_t>(cell.flight - 1)).push_back(cell);
  for (const auto& flight : by_flight) {
    EXPECT_GT(flight.front().heard, 0);
    EXPECT_GT(flight.back().heard, 0);
    int silent = 0;
    for (const auto& cell : flight) {
      silent = cell.heard > 0 ? 0 : silent + 1;
      EXPECT_LE(silent, 29);
      EXPECT_LE(cell.heard, cell.expected);
      EXPECT_EQ(cell.signal_dbfs.has_value(), cell.heard > 0);
    }
  }
}

}  // namespace
}  // namespace roundel::simulate
