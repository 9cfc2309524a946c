#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <set>
#include <utility>
#include <vector>

#include "roundel/simulate/simulate.h"
#include "roundel/site/sightline.h"

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
      EXPECT_LE(cell.heard, cell.expected + 3);
      EXPECT_EQ(cell.signal_dbfs.has_value(), cell.heard > 0);
    }
  }
}

/// What a recorder's cells would count, from single reports: by address and window.
std::map<std::pair<std::uint64_t, std::int64_t>, int> counted(const Scenario& s) {
  std::map<std::pair<std::uint64_t, std::int64_t>, int> counts;
  EXPECT_TRUE(reports(s, [&](std::size_t, const Report& r) {
    ++counts[{r.address, static_cast<std::int64_t>(r.time_s / schema::window_s)}];
    return true;
  }));
  return counts;
}

// Both levels fly the same aircraft with the same shadowing; only the last draws differ.
TEST(Cells, AgreeWithReportsWithinTheirError) {
  Scenario s;
  s.seed = 21;
  s.hours = 8;
  s.antenna("a").mast(25, 275, 60);
  s.wall(200, 290, 3);
  const auto set = cells(s);
  ASSERT_TRUE(set);
  const auto counts = counted(s);
  const auto viewpoint = site::Viewpoint::from(s.site);
  std::map<int, double> by_range_cells, by_range_reports;
  double variance = 0;
  for (const auto& cell : set->cells) {
    const auto& flight = set->flights[static_cast<std::size_t>(cell.flight - 1)];
    const auto line = viewpoint->to(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft);
    const int band = static_cast<int>(line.range_km / 100);
    by_range_cells[band] += cell.heard;
    if (const auto it = counts.find({flight.address, cell.window}); it != counts.end())
      by_range_reports[band] += it->second;
    const double p = cell.heard / 20.0;
    variance += 20 * p * (1 - p) * 2;
  }
  double total_cells = 0, total_reports = 0;
  for (const auto& [band, n] : by_range_cells) total_cells += n;
  for (const auto& [key, n] : counts) total_reports += n;
  ASSERT_GT(total_cells, 500000);
  // Besides chance, 0.1 %: the mean position stands for ten seconds of flight.
  EXPECT_NEAR(total_cells, total_reports, 4 * std::sqrt(variance) + 0.001 * total_cells);
  for (const auto& [band, n] : by_range_cells)
    EXPECT_NEAR(n, by_range_reports[band], 4 * std::sqrt(variance) + 0.005 * n) << band * 100;
}

TEST(Cells, ThrottledCountsAgreeWithReports) {
  Scenario s;
  s.seed = 22;
  s.hours = 4;
  s.feed("roof").throttled = true;
  const auto set = cells(s);
  ASSERT_TRUE(set);
  double from_cells = 0, from_reports = 0;
  for (const auto& cell : set->cells) {
    from_cells += cell.heard;
    EXPECT_LE(cell.heard, 10);
  }
  for (const auto& [key, n] : counted(s)) from_reports += n;
  EXPECT_NEAR(from_cells, from_reports, 0.01 * from_reports);
}

TEST(Cells, OutageLeavesNoCells) {
  Scenario s = short_one();
  s.feed("roof").outages = {{1, 1.05}};
  const auto set = cells(s);
  ASSERT_TRUE(set);
  const auto off = static_cast<std::int64_t>(s.start_s + 3600) / 10;
  for (const auto& cell : set->cells) EXPECT_FALSE(cell.window >= off && cell.window < off + 18);
}

TEST(Cells, TwoAntennasHearTheSameFlights) {
  Scenario s = short_one();
  s.antenna("a");
  s.antenna("b").gain(-3);
  s.trial({"roof-a", "a"}).trial({"roof-b", "b"});
  const auto set = cells(s);
  ASSERT_TRUE(set);
  ASSERT_EQ(set->trials.size(), 2U);
  std::set<std::uint64_t> a, b;
  for (const auto& flight : set->flights) (flight.trial == 1 ? a : b).insert(flight.address);
  EXPECT_GT(a.size(), 40U);
  for (const std::uint64_t address : b) EXPECT_TRUE(a.contains(address));
  EXPECT_GT(set->truth.trials[0].heard, set->truth.trials[1].heard);
  EXPECT_EQ(set->truth.trials[0].sent, set->truth.trials[1].sent);
}

TEST(Cells, FlightsEndAtBreaksOverHalfAnHour) {
  Scenario s;
  s.hours = 24;
  s.traffic.fleet = 900;  // airframes come back
  const auto set = cells(s);
  ASSERT_TRUE(set);
  std::map<std::uint64_t, std::int64_t> last;
  int returned = 0;
  for (const auto& flight : set->flights) {
    ASSERT_TRUE(flight.last_window);
    if (const auto it = last.find(flight.address); it != last.end()) {
      EXPECT_GT(flight.first_window - it->second, 180);
      ++returned;
    }
    last[flight.address] = *flight.last_window;
  }
  EXPECT_GT(returned, 50);
}

TEST(Cells, ValuesAreRoundedAsStored) {
  const auto set = cells(short_one());
  ASSERT_TRUE(set);
  const auto is_multiple = [](double x, double step) {
    return std::fabs(x / step - std::round(x / step)) < 1e-6;
  };
  for (const auto& cell : set->cells) {
    ASSERT_TRUE(is_multiple(cell.latitude_deg, 1e-4));
    ASSERT_TRUE(is_multiple(cell.altitude_ft, 25));
    ASSERT_TRUE(is_multiple(cell.signal_dbfs.value_or(0), 0.5));
  }
}

}  // namespace
}  // namespace roundel::simulate
