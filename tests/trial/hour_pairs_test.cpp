// A comparison from what summaries keep must be that of the cells.
#include "analysis/trial/hour_pairs.h"

#include <gmock/gmock.h>

#include <filesystem>

#include "roundel/pattern/summary.h"
#include "roundel/simulate/scenario.h"
#include "roundel/trial/compare.h"
#include "tests/program/simulated_store.h"

namespace roundel::trial {
namespace {

using schema::must;

constexpr std::int64_t hour_s = 1'772'323'200, first_window = hour_s / 10;
constexpr Interval both{hour_s - 7200, hour_s + 7200};

pattern::Group group(int heard, int cells, float spreading_db = 3) {
  pattern::Group out;
  out.spreading_db = spreading_db;
  out.elevation_deg = 2;
  out.horizon_ratio = 0.5F;
  out.heard = static_cast<std::uint16_t>(heard);
  out.chances = static_cast<std::uint16_t>(20 * cells);
  out.cells = static_cast<std::uint16_t>(cells);
  out.sector = 7;
  return out;
}

/// One aircraft between two windows of the hour, heard `heard` times in ten cells.
pattern::HourExposure hour(std::int64_t first, std::int64_t last, int heard) {
  pattern::HourExposure out;
  out.counts = {hour_s, 12, heard, 240, 0};
  out.heard_aircraft.fill(1);
  pattern::FlightHour flight;
  flight.flight = {1, 1, 0xabc, first_window + first, first_window + last};
  flight.groups = {group(heard, 10)};
  flight.first_cell = group(2, 1);
  flight.last_cell = group(3, 1);
  out.flights.push_back(std::move(flight));
  return out;
}

Pairs paired(const pattern::HourExposure& a, const pattern::HourExposure& b) {
  HourPairs pairs([](int, const pattern::HourExposure&) {});
  pairs.add(0, 5, both, a);
  pairs.add(1, 5, both, b);
  Pairs out;
  pairs.finish(out);
  return out;
}

TEST(HourPairs, PutsTheSamePlaceOfTheSameAircraftTogether) {
  const Pairs pairs = paired(hour(10, 100, 150), hour(10, 100, 90));
  ASSERT_EQ(pairs.groups.size(), 1u);
  EXPECT_EQ(pairs.groups[0].heard_a, 150);
  EXPECT_EQ(pairs.groups[0].heard_b, 90);
  EXPECT_EQ(pairs.groups[0].chances, 200) << "first and last cell are partial for both";
  EXPECT_EQ(pairs.groups[0].sector, 7);
  EXPECT_EQ(pairs.groups[0].stratum, 5);
  EXPECT_EQ(pairs.groups[0].hour, hour_s / 3600);
  EXPECT_EQ(pairs.n_flights, 1u);
  EXPECT_EQ(pairs.first_last.same_first, 1);
  EXPECT_EQ(pairs.first_last.same_last, 1);
}

TEST(HourPairs, CountsAFirstAndLastCellWhereTheOtherFollows) {
  const Pairs pairs = paired(hour(10, 100, 150), hour(20, 90, 90));
  ASSERT_EQ(pairs.groups.size(), 1u);
  EXPECT_EQ(pairs.groups[0].heard_a, 150);
  EXPECT_EQ(pairs.groups[0].heard_b, 95);
  EXPECT_EQ(pairs.groups[0].chances, 240);
  EXPECT_EQ(pairs.first_last.a_first, 1);
  EXPECT_EQ(pairs.first_last.a_last, 1);
}

TEST(HourPairs, TakesWhatOneSideNeverHeardForSilence) {
  auto quiet = hour(10, 100, 90);
  quiet.flights.clear();
  const Pairs pairs = paired(hour(10, 100, 150), quiet);
  ASSERT_EQ(pairs.groups.size(), 1u);
  EXPECT_EQ(pairs.groups[0].heard_b, 0);
  EXPECT_EQ(pairs.first_last.a_only, 1);
}

TEST(HourPairs, LeavesOutAnHourInWhichOneSideWasDeaf) {
  auto deaf = hour(10, 100, 90), other = hour(10, 100, 150);
  std::fill_n(deaf.heard_aircraft.begin(), 5, 0);
  std::fill_n(other.heard_aircraft.begin(), 4, 3);
  EXPECT_EQ(paired(other, deaf).groups.size(), 1u) << "four minutes";
  other.heard_aircraft[4] = 3;
  EXPECT_EQ(paired(other, deaf).groups.size(), 0u);
}

TEST(HourPairs, EndsAContactAfterHalfAnHour) {
  HourPairs pairs([](int, const pattern::HourExposure&) {});
  const auto add = [&](std::int64_t later_s) {
    auto next = hour(10, 100, 90);
    next.counts.start_s += later_s;
    next.flights[0].flight.first_window += later_s / 10;
    *next.flights[0].flight.last_window += later_s / 10;
    pairs.add(0, 0, both, next);
    pairs.add(1, 0, both, next);
  };
  add(0);
  add(3600);
  Pairs out;
  pairs.finish(out);
  EXPECT_EQ(out.n_flights, 2u);
  EXPECT_EQ(out.groups.size(), 2u);
}

/// Two antennas at once, one of them from half past two on, and off for twenty minutes.
class SummaryCompare : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<schema::Folder>();
    simulate::Scenario scenario;
    scenario.hours = 14.5;
    scenario.traffic.mean_aircraft = 40;
    scenario.antenna("collinear").gain_db = 1.5;
    scenario.antenna("spider").notch(100, 60, 5);
    scenario.trial({"roof", "collinear", "", "", 0, 0, {}});
    scenario.trial({"shed", "spider", "", "", 0, 2.5, {}});
    scenario.feed("shed").outages.push_back({8.2, 8.2 + 1.0 / 3});
    store_summarised(scenario, file());
  }
  static void TearDownTestSuite() { folder_.reset(); }
  static std::filesystem::path file() { return *folder_ / "two.db"; }

  static Comparison compared(const std::filesystem::path& of, bool from_summaries,
                             std::optional<double> from_s = {}) {
    const auto store = must(schema::Store::open(of, schema::Store::Access::read));
    schema::Selection a, b;
    a.antenna = "collinear";
    b.antenna = "spider";
    a.from_s = b.from_s = from_s;
    CompareOptions options;
    options.from_summaries = from_summaries;
    return must(compare(store, a, b, options));
  }

  static void expect_same(const Comparison& one, const Comparison& other, double within_db) {
    EXPECT_EQ(one.method, other.method);
    EXPECT_EQ(one.answer, other.answer);
    ASSERT_TRUE(one.difference && other.difference);
    // An hour in which one was off is left out as a whole: a twelfth of what both recorded.
    EXPECT_NEAR(one.difference->value_db, other.difference->value_db, within_db / 2);
    EXPECT_NEAR(one.difference->high_db - one.difference->low_db,
                other.difference->high_db - other.difference->low_db, 0.03);
    int n_known = 0;
    for (std::size_t s = 0; s < one.sectors.size(); ++s) {
      SCOPED_TRACE(one.sectors[s].bearing_deg);
      if (!one.sectors[s].difference_db || !other.sectors[s].difference_db) continue;
      ++n_known;
      EXPECT_NEAR(*one.sectors[s].difference_db, *other.sectors[s].difference_db, 4 * within_db);
    }
    EXPECT_GT(n_known, 60);
  }

  static std::unique_ptr<schema::Folder> folder_;
};
std::unique_ptr<schema::Folder> SummaryCompare::folder_;

TEST_F(SummaryCompare, IsTheComparisonOfTheCells) {
  const Comparison cells = compared(file(), false), summed = compared(file(), true);
  expect_same(cells, summed, 0.06);
  EXPECT_EQ(cells.cells_a, summed.cells_a);
  EXPECT_EQ(cells.cells_b, summed.cells_b);
  EXPECT_EQ(cells.flights_a, summed.flights_a);
  EXPECT_EQ(cells.flights_b, summed.flights_b);
  EXPECT_NEAR(static_cast<double>(summed.cells_paired), static_cast<double>(cells.cells_paired),
              0.1 * static_cast<double>(cells.cells_paired));
  ASSERT_TRUE(cells.reach_a && summed.reach_a);
  EXPECT_EQ(cells.reach_a->cells, summed.reach_a->cells);
  EXPECT_EQ(cells.reach_b->cells, summed.reach_b->cells);
  EXPECT_GT(cells.difference->value_db, 1.5) << "and the notch";
}

TEST_F(SummaryCompare, OfPartOfAnHourReadsItsCells) {
  const double from_s = 1772323200 + 4.7 * 3600;
  expect_same(compared(file(), false, from_s), compared(file(), true, from_s), 0.08);
}

TEST_F(SummaryCompare, StaysWhenTheCellsAreGone) {
  const auto copy = *folder_ / "gone.db";
  must(must(schema::Store::open(file(), schema::Store::Access::read)).backup(copy));
  const Comparison before = compared(copy, true);
  {
    auto store = must(schema::Store::open(copy, schema::Store::Access::record));
    while (must(store.drop_cells({.hours = 2, .bytes = {}}))) {
    }
    ASSERT_GT(must(store.totals()).summarised_cells, must(store.totals()).cells);
  }
  // What both recorded of the hour that the second began in is gone with its cells.
  expect_same(before, compared(copy, true), 0.1);
  expect_same(before, compared(copy, false), 0.1);
}

}  // namespace
}  // namespace roundel::trial
