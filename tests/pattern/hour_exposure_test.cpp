// What is kept of an hour's flights must tell what its cells tell.
#include "analysis/pattern/hour_exposure.h"

#include <gmock/gmock.h>

#include <filesystem>
#include <random>

#include "analysis/pattern/hour_exposure_bytes.h"
#include "roundel/pattern/summary.h"
#include "roundel/pattern/verdict.h"
#include "roundel/simulate/scenario.h"
#include "tests/program/simulated_store.h"

namespace roundel::pattern {
namespace {

using schema::must;

constexpr std::int64_t hour_s = 1'772'323'200, first_window = hour_s / 10;

Group some_group() {
  Group group;
  group.spreading_db = 3.21F;
  group.elevation_deg = -0.37F;
  group.bearing_off_deg = -2.44F;
  group.horizon_ratio = 0.812F;
  group.cos_aspect = -0.98F;
  group.level_sum_db = -2000;
  group.heard = 70;
  group.levels = 69;
  group.chances = 95;
  group.cells = 5;
  group.sector = 71;
  return group;
}

HourExposure sample() {
  HourExposure out;
  out.counts = {hour_s, 4000, 30'000, 80'000, 3};
  out.first_window = first_window + 7;
  out.last_window = first_window + 359;
  out.silent_cells = 500;
  out.partial_cells = 12;
  out.inferred_cells = 40;
  out.levels = 3000;
  out.sector_cells.assign(72, 0);
  out.sector_cells[71] = 5;
  out.heard_histogram[0] = 4;
  out.heard_histogram[255] = 1;
  for (const std::size_t window : {7U, 8U, 359U}) out.heard_windows.set(window);
  out.heard_aircraft[59] = 255;
  FlightHour flight;
  flight.flight.id = 16'777'215;
  flight.groups = {some_group(), some_group()};
  flight.groups[1].kind = GroupKind::inferred;
  flight.groups[1].sector = 0;
  flight.groups[1].heard = flight.groups[1].levels = 0;
  flight.groups[1].level_sum_db = 0;
  flight.groups[1].chances = 100;
  flight.backwards =
      Ending{{first_window + 13, 100.02, -3.5, 35'000}, {first_window + 7, 90, -4, 34'975}};
  flight.forwards =
      Ending{{first_window + 353, -200, 300, 975}, {first_window + 359, -210, 310, 1000}};
  out.flights.push_back(flight);
  flight.flight.id = 3;
  flight.last_cell = flight.groups[0];
  flight.groups.clear();
  flight.backwards.reset();
  out.flights.push_back(flight);
  return out;
}

TEST(ExposureBytes, ComeBackAsTheyWere) {
  const HourExposure before = sample();
  const auto after = exposure_of(exposure_bytes(before), hour_s);
  ASSERT_TRUE(after);
  EXPECT_EQ(exposure_bytes(*after), exposure_bytes(before));
  EXPECT_EQ(after->counts.start_s, hour_s);
  EXPECT_EQ(after->counts.cells, 4000);
  EXPECT_EQ(after->counts.beyond_horizon_cells, 3);
  EXPECT_EQ(after->first_window, before.first_window);
  EXPECT_EQ(after->last_window, before.last_window);
  EXPECT_EQ(after->levels, 3000);
  EXPECT_EQ(after->sector_cells, before.sector_cells);
  EXPECT_EQ(after->heard_histogram, before.heard_histogram);
  EXPECT_EQ(after->heard_windows, before.heard_windows);
  EXPECT_EQ(after->heard_aircraft, before.heard_aircraft);
  ASSERT_EQ(after->flights.size(), 2u);
  EXPECT_EQ(after->flights[0].flight.id, 16'777'215);
  EXPECT_EQ(after->flights[1].flight.id, 3);
  EXPECT_FALSE(after->flights[1].backwards);
  EXPECT_FALSE(after->flights[0].last_cell);
  ASSERT_TRUE(after->flights[1].last_cell);
  EXPECT_EQ(after->flights[1].last_cell->heard, 70);
  ASSERT_TRUE(after->flights[0].backwards && after->flights[1].forwards);
  EXPECT_EQ(after->flights[0].backwards->before.window, first_window + 13);
  EXPECT_NEAR(after->flights[0].backwards->before.x_km, 100.02, 1e-9);
  EXPECT_EQ(after->flights[0].backwards->end.altitude_ft, 34'975);
  ASSERT_EQ(after->flights[0].groups.size(), 2u);
  const Group &one = after->flights[0].groups[0], &was = before.flights[0].groups[0];
  EXPECT_NEAR(one.spreading_db, was.spreading_db, 0.0051);
  EXPECT_NEAR(one.elevation_deg, was.elevation_deg, 0.0051);
  EXPECT_NEAR(one.bearing_off_deg, was.bearing_off_deg, 0.021);
  EXPECT_NEAR(one.horizon_ratio, was.horizon_ratio, 0.0011);
  EXPECT_NEAR(one.cos_aspect, was.cos_aspect, 0.011);
  EXPECT_NEAR(one.level_sum_db / one.levels, was.level_sum_db / was.levels, 0.026);
  EXPECT_EQ(one.heard, 70);
  EXPECT_EQ(one.levels, 69);
  EXPECT_EQ(one.chances, 95);
  EXPECT_EQ(one.cells, 5);
  EXPECT_EQ(one.sector, 71);
  EXPECT_EQ(one.kind, GroupKind::recorded);
  EXPECT_EQ(after->flights[0].groups[1].kind, GroupKind::inferred);
  EXPECT_EQ(after->flights[0].groups[1].levels, 0);
}

TEST(ExposureBytes, ThatAreCutOrSpoiltAreRefusedOrReadInBounds) {
  const std::string bytes = exposure_bytes(sample());
  for (std::size_t n = 0; n < bytes.size(); ++n)
    EXPECT_FALSE(exposure_of(bytes.substr(0, n), hour_s)) << n;
  EXPECT_FALSE(exposure_of(bytes + '\0', hour_s));
  std::mt19937 random(3);
  for (int round = 0; round < 20'000; ++round) {
    std::string spoilt = bytes;
    spoilt[random() % spoilt.size()] = static_cast<char>(random());
    spoilt[random() % spoilt.size()] = static_cast<char>(random());
    const auto read = exposure_of(spoilt, hour_s);
    if (!read) continue;
    for (const FlightHour& flight : read->flights)
      for (const Group& group : flight.groups) {
        EXPECT_TRUE(group.sector < 72 && group.cells > 0 && group.levels <= group.heard);
        EXPECT_TRUE(std::isfinite(group.level_sum_db) && std::isfinite(group.spreading_db));
      }
  }
}

TEST(HourExposure, JoinsWhatCameLate) {
  HourExposure hour = sample(), late = sample();
  late.flights[1].flight.id = 5;
  late.first_window = first_window;
  join(hour, late);
  EXPECT_EQ(hour.counts.cells, 8000);
  EXPECT_EQ(hour.first_window, first_window);
  EXPECT_EQ(hour.sector_cells[71], 10);
  EXPECT_EQ(hour.heard_histogram[255], 2);
  ASSERT_EQ(hour.flights.size(), 3u);
  EXPECT_EQ(hour.flights[0].groups.size(), 4u);
  EXPECT_EQ(hour.flights[2].flight.id, 5);
}

TEST(HourExposure, KeepsBearingsInWiderSectors) {
  HourExposure hour = sample();
  widen(hour, 5, 3);
  ASSERT_EQ(hour.sector_cells.size(), 24u);
  EXPECT_EQ(hour.sector_cells[23], 5);
  const Group& group = hour.flights[0].groups[0];
  EXPECT_EQ(group.sector, 23);
  EXPECT_NEAR(15 * (group.sector + 0.5) + group.bearing_off_deg, 5 * 71.5 - 2.44, 1e-4);
}

/// Thirty hours behind a wall, all but the last hour summarised.
class SummaryVerdict : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<schema::Folder>();
    simulate::Scenario scenario;
    scenario.hours = 30;
    scenario.traffic.mean_aircraft = 25;
    scenario.antenna("antenna").mast(25, 275, 130);
    scenario.wall(200, 260, 3);
    scenario.trial({"roof", "antenna", "", "", 0, 0, {}});
    store_summarised(scenario, file());
  }
  static void TearDownTestSuite() { folder_.reset(); }
  static std::filesystem::path file() { return *folder_ / "days.db"; }

  static Verdict judged(const std::filesystem::path& of, bool from_summaries,
                        double sector_deg = 5) {
    const auto store = must(schema::Store::open(of, schema::Store::Access::read));
    VerdictOptions options;
    options.from_summaries = from_summaries;
    return must(verdict(store, {}, sector_deg, options));
  }

  /// The two say the same but for what rounding moves.
  static void expect_same(const Verdict& one, const Verdict& other) {
    EXPECT_EQ(one.answer, other.answer);
    EXPECT_EQ(one.flights, other.flights);
    EXPECT_EQ(one.cells, other.cells);
    EXPECT_EQ(one.silent_cells, other.silent_cells);
    EXPECT_EQ(one.from_s, other.from_s);
    EXPECT_EQ(one.to_s, other.to_s);
    EXPECT_NEAR(one.ripple.value_db, other.ripple.value_db, 0.05);
    ASSERT_EQ(one.sectors.size(), other.sectors.size());
    int n_judged = 0;
    for (std::size_t s = 0; s < one.sectors.size(); ++s) {
      SCOPED_TRACE(one.sectors[s].bearing_deg);
      const SectorVerdict &a = one.sectors[s], &b = other.sectors[s];
      EXPECT_EQ(a.flights, b.flights);
      EXPECT_EQ(a.cells, b.cells);
      EXPECT_EQ(a.cutoff_deg.has_value(), b.cutoff_deg.has_value());
      if (a.cutoff_deg && b.cutoff_deg) {
        EXPECT_NEAR(*a.cutoff_deg, *b.cutoff_deg, 0.21);
      }
      ASSERT_EQ(a.gain_db.has_value(), b.gain_db.has_value());
      if (!a.gain_db) continue;
      ++n_judged;
      EXPECT_NEAR(*a.gain_db, *b.gain_db, 0.06);
      EXPECT_NEAR(*a.high_db - *a.low_db, *b.high_db - *b.low_db, 0.1);
    }
    EXPECT_GT(n_judged, 40 * static_cast<int>(one.sectors.size()) / 72);
  }

  static std::unique_ptr<schema::Folder> folder_;
};
std::unique_ptr<schema::Folder> SummaryVerdict::folder_;

TEST_F(SummaryVerdict, IsTheVerdictOfTheCells) {
  expect_same(judged(file(), false), judged(file(), true));
  expect_same(judged(file(), false, 10), judged(file(), true, 10));
}

TEST_F(SummaryVerdict, StaysWhenTheCellsAreGone) {
  const auto copy = *folder_ / "gone.db";
  must(must(schema::Store::open(file(), schema::Store::Access::read)).backup(copy));
  const Verdict before = judged(copy, true);
  {
    auto store = must(schema::Store::open(copy, schema::Store::Access::record));
    while (must(store.drop_cells({.hours = 3, .bytes = {}}))) {
    }
    ASSERT_GT(must(store.totals()).summarised_cells, 20 * must(store.totals()).cells / 3);
  }
  expect_same(before, judged(copy, true));
  expect_same(before, judged(copy, false));
}

TEST_F(SummaryVerdict, ReadsStaleHoursFromTheirCells) {
  const auto copy = *folder_ / "late.db";
  must(must(schema::Store::open(file(), schema::Store::Access::read)).backup(copy));
  auto store = must(schema::Store::open(copy, schema::Store::Access::record));
  const Verdict before = judged(copy, true);
  auto site = *must(store.site());
  const double antenna_m = site.antenna_m;
  site.antenna_m += 1;
  must(store.set_site(site));
  site.antenna_m = antenna_m;
  must(store.set_site(site));
  ASSERT_GE(must(store.summary_state()).stale.size(), 25u) << "the same site, but none the wiser";
  expect_same(before, judged(copy, true));
  schema::Selection which;
  which.from_s = static_cast<double>(*before.from_s) + 1800;
  const Verdict half = must(verdict(store, which, 5, {3, 0.95, true}));
  EXPECT_EQ(half.cells, must(verdict(store, which, 5, {})).cells);
}

TEST_F(SummaryVerdict, OfAFileOfVersion2ReadsItsCells) {
  const auto copy = *folder_ / "older.db";
  must(must(schema::Store::open(file(), schema::Store::Access::read)).backup(copy));
  {
    schema::Client client(copy);
    client.rows("DROP VIEW summaries");
    client.rows("DROP TABLE summary_flights");
    client.rows("CREATE VIEW summaries AS SELECT 1");
    client.rows("PRAGMA user_version = 2");
  }
  expect_same(judged(file(), false), judged(copy, true));
}

TEST_F(SummaryVerdict, RefusesSectorsThatNoSummaryTells) {
  const auto store = must(schema::Store::open(file(), schema::Store::Access::read));
  const auto refused = verdict(store, {}, 3, {3, 0.95, true});
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().line(),
            "--sector-deg: only summaries by 5 degrees are left of some hours; choose a multiple "
            "of 5, or a later --from");
}

}  // namespace
}  // namespace roundel::pattern
