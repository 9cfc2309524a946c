// A year in a second: what summaries answer must be what the cells say.
#include "roundel/pattern/summary.h"

#include <gmock/gmock.h>

#include <filesystem>
#include <random>

#include "analysis/pattern/summary_bytes.h"
#include "roundel/pattern/cut.h"
#include "roundel/pattern/field.h"
#include "roundel/pattern/reach.h"
#include "roundel/simulate/scenario.h"
#include "tests/program/simulated_store.h"

namespace roundel::pattern {
namespace {

using schema::must;

simulate::Scenario a_day_behind_a_wall() {
  simulate::Scenario scenario;
  scenario.hours = 8;
  scenario.traffic.mean_aircraft = 40;
  scenario.antenna("antenna").mast(25, 275, 130);
  scenario.wall(200, 260, 3);
  scenario.trial({"roof", "antenna", "", "", 0, 0, {}});
  return scenario;
}

ReachOptions by_cells(double sector_deg) {
  ReachOptions options;
  options.sector_deg = sector_deg;
  return options;
}

ReachOptions summarised(double sector_deg = 5) {
  ReachOptions options = by_cells(sector_deg);
  options.from_summaries = true;
  return options;
}

/// Eight hours of it, of which the first seven are summarised.
class SummaryReach : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    folder_ = std::make_unique<schema::Folder>();
    const auto scenario = a_day_behind_a_wall();
    store_summarised(scenario, *folder_ / "day.db");
  }
  static void TearDownTestSuite() { folder_.reset(); }

  schema::Store store_ =
      must(schema::Store::open(*folder_ / "day.db", schema::Store::Access::read));
  static std::unique_ptr<schema::Folder> folder_;
};
std::unique_ptr<schema::Folder> SummaryReach::folder_;

TEST_F(SummaryReach, CountsWhatTheCellsCount) {
  const auto cells = must(reach(store_, {}));
  const auto summed = must(reach(store_, {}, summarised()));
  EXPECT_GT(must(store_.summary_state()).before_s, *cells.from_s + 6 * 3600);
  EXPECT_EQ(summed.cells, cells.cells);
  EXPECT_EQ(summed.reports, cells.reports);
  EXPECT_EQ(summed.beyond.cells, cells.beyond.cells);
  EXPECT_EQ(summed.from_s, *cells.from_s / 3600 * 3600) << "whole hours";
  EXPECT_EQ(summed.to_s, cells.to_s);
  ASSERT_EQ(summed.sectors.size(), 72u);
  for (std::size_t i = 0; i < 72; ++i) {
    SCOPED_TRACE(cells.sectors[i].bearing_deg);
    EXPECT_EQ(summed.sectors[i].cells, cells.sectors[i].cells);
    for (std::size_t band = 0; band < 4; ++band)
      EXPECT_EQ(summed.sectors[i].by_altitude[band].cells,
                cells.sectors[i].by_altitude[band].cells);
    // A flight is counted anew in each hour it is in the sector.
    EXPECT_GE(summed.sectors[i].flights, cells.sectors[i].flights);
    EXPECT_LE(static_cast<double>(summed.sectors[i].flights),
              1.25 * static_cast<double>(cells.sectors[i].flights) + 2);
  }
}

TEST_F(SummaryReach, IsTheReachOfTheCells) {
  const auto cells = must(reach(store_, {}));
  const auto summed = must(reach(store_, {}, summarised()));
  int n_same = 0;
  for (std::size_t i = 0; i < 72; ++i) {
    SCOPED_TRACE(cells.sectors[i].bearing_deg);
    const auto &one = cells.sectors[i].farthest, &other = summed.sectors[i].farthest;
    ASSERT_EQ(one.has_value(), other.has_value());
    if (!one) continue;
    // Support across the turn of an hour is not seen; ranges are kept to 10 m.
    EXPECT_LE(other->range_km, one->range_km + 0.006);
    EXPECT_GT(other->range_km, 0.97 * one->range_km);
    if (std::abs(other->range_km - one->range_km) > 0.006) continue;
    ++n_same;
    EXPECT_EQ(other->address, one->address);
    EXPECT_EQ(other->time_s, one->time_s);
    EXPECT_EQ(other->altitude_ft, one->altitude_ft);
    EXPECT_NEAR(other->bearing_deg, one->bearing_deg, 0.006);
    EXPECT_NEAR(other->horizon_km, one->horizon_km, 0.05);
  }
  EXPECT_GE(n_same, 65);
}

TEST_F(SummaryReach, FindsHalfRateAndContactsAsTheCellsDo) {
  const auto cells = must(reach(store_, {}, by_cells(45)));
  const auto summed = must(reach(store_, {}, summarised(45)));
  int n_half = 0;
  for (std::size_t i = 0; i < 8; ++i) {
    SCOPED_TRACE(cells.sectors[i].bearing_deg);
    const auto &one = cells.sectors[i], &other = summed.sectors[i];
    ASSERT_EQ(one.half_rate.has_value(), other.half_rate.has_value());
    if (one.half_rate) {
      ++n_half;
      EXPECT_NEAR(other.half_rate->range_km, one.half_rate->range_km, 0.5);
    }
    ASSERT_TRUE(one.first_heard && other.first_heard && one.last_heard && other.last_heard);
    EXPECT_EQ(other.first_heard->flights, one.first_heard->flights);
    EXPECT_NEAR(other.first_heard->median_km, one.first_heard->median_km, 0.1);
    EXPECT_EQ(other.last_heard->flights, one.last_heard->flights);
    EXPECT_NEAR(other.last_heard->median_km, one.last_heard->median_km, 0.1);
  }
  EXPECT_GT(n_half, 2);
}

TEST_F(SummaryReach, RefusesSectorsThatNoSummaryTells) {
  const auto refused = reach(store_, {}, summarised(3));
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().line(),
            "--sector-deg: only summaries by 5 degrees are left of some hours; choose a multiple "
            "of 5, or a later --from");
  EXPECT_TRUE(reach(store_, {}, by_cells(3))) << "the cells are there";
}

// The hour a selection begins in was counted twice where its summary was stale.
TEST_F(SummaryReach, CountsNothingTwiceAfterTheSiteHasChanged) {
  std::filesystem::copy_file(*folder_ / "day.db", *folder_ / "moved.db");
  auto store = must(schema::Store::open(*folder_ / "moved.db", schema::Store::Access::record));
  auto site = *must(store.site());
  site.antenna_m += 10;
  must(store.set_site(site));
  ASSERT_GE(must(store.summary_state()).stale.size(), 6u);
  const auto start_s = static_cast<double>(must(store.summary_state()).stale[0].hour_s);
  for (const double from_s : {start_s, start_s + 2.5 * 3600}) {
    schema::Selection which;
    which.from_s = from_s;
    const auto cells = must(reach(store, which));
    const auto summed = must(reach(store, which, summarised()));
    EXPECT_EQ(summed.cells, cells.cells);
    EXPECT_EQ(summed.reports, cells.reports);
    EXPECT_EQ(summed.flights, cells.flights);
  }
}

std::vector<std::tuple<double, double, std::int64_t, std::int64_t>> bins_of(const Field& field) {
  std::vector<std::tuple<double, double, std::int64_t, std::int64_t>> out;
  for (const FieldBin& bin : field.bins)
    out.emplace_back(bin.bearing_deg, bin.range_km, bin.heard, bin.expected);
  return out;
}

// Silences behind the wall and the ends of flights count in it; no share tells of those.
TEST_F(SummaryReach, FieldIsThatOfTheCells) {
  const auto start_s = static_cast<double>(*must(reach(store_, {})).from_s);
  for (const double sector_deg : {5.0, 30.0})
    for (const auto& [from_s, to_s] :
         std::vector<std::pair<std::optional<double>, std::optional<double>>>{
             {{}, {}},
             {start_s + 1000, start_s + 4 * 3600 + 1000},
             {start_s + 3600, {}},
             {start_s + 1000, start_s + 2000}}) {
      schema::Selection which;
      which.from_s = from_s;
      which.to_s = to_s;
      const auto cells = must(heard_field(store_, which, sector_deg));
      const auto summed = must(heard_field(store_, which, sector_deg, true));
      EXPECT_GT(cells.bins.size(), 20U);
      EXPECT_EQ(bins_of(summed), bins_of(cells));
    }
}

// An hour is whole in a summary; a trial that was stopped in hindsight is not.
TEST_F(SummaryReach, FieldOfATrialEndsWhereTheTrialDoes) {
  std::filesystem::copy_file(*folder_ / "day.db", *folder_ / "stopped.db");
  auto store = must(schema::Store::open(*folder_ / "stopped.db", schema::Store::Access::write));
  const auto start_s = *must(reach(store_, {})).from_s;
  must(store.set_trial_stop(must(store.trials()).at(0).id, start_s + 3 * 3600 + 1200));
  const auto cells = must(heard_field(store, {}, 5));
  EXPECT_EQ(bins_of(must(heard_field(store, {}, 5, true))), bins_of(cells));
  EXPECT_NE(bins_of(must(heard_field(store_, {}, 5))), bins_of(cells));
}

// Its bins are of cells either way; the wall's edge is judged.
TEST_F(SummaryReach, CutIsJudgedAsByTheCells) {
  CutOptions options;
  options.bearing_deg = 230;
  const auto cells = must(cut(store_, {}, options));
  options.from_summaries = true;
  const auto summed = must(cut(store_, {}, options));
  EXPECT_EQ(summed.n_cells, cells.n_cells);
  EXPECT_EQ(summed.bins.size(), cells.bins.size());
  EXPECT_EQ(summed.n_flights, cells.n_flights);
  ASSERT_TRUE(cells.judged && summed.judged);
  EXPECT_EQ(summed.judged->state, cells.judged->state);
  ASSERT_TRUE(cells.cutoff_deg() && summed.cutoff_deg());
  EXPECT_NEAR(*summed.cutoff_deg(), *cells.cutoff_deg(), 0.1);
  const auto all = must(cuts(store_, {}, options));
  EXPECT_EQ(all.at(46).n_cells, cells.n_cells);
  EXPECT_EQ(all.at(46).cutoff_deg(), summed.cutoff_deg());
}

HourSummary sample() {
  HourSummary out;
  out.hour_s = 1'772'323'200;
  const std::int64_t window = out.hour_s / 10;
  out.flights = 12;
  out.heard_cells = 4711;
  out.beyond_cells = 3;
  out.beyond_flights = 2;
  out.beyond = SummaryFarthest{71, 0, 499.99, 359.99, -1000, window + 359, 16'777'215};
  out.farthest = {{0, 0, 12.34, 0.01, 2500, window, 1}, {71, 3, 401.5, 358, 38'000, window + 1, 2}};
  out.heard = {{0, 0, 4000, 12}, {71, 3, 300, 1}};
  out.contacts = {{3, true, window + 5, 300.1}, {3, false, window + 300, 99.9}};
  out.shares = {{0, 0, 0, 1, 20}, {0, 1, 25, 0, 20}, {71, 1023, 25, 5000, 6000}};
  out.others = {{0, 3, 0, 14}, {71, 29, 300, 400}};
  return out;
}

TEST(SummaryBytes, ComeBackAsTheyWere) {
  const HourSummary before = sample();
  const auto after = summary_of(summary_bytes(before), before.hour_s);
  ASSERT_TRUE(after);
  EXPECT_EQ(summary_bytes(*after), summary_bytes(before));
  EXPECT_EQ(after->heard_cells, 4711);
  ASSERT_TRUE(after->beyond);
  EXPECT_NEAR(after->beyond->range_km, 499.99, 1e-9);
  EXPECT_EQ(after->beyond->altitude_ft, -1000);
  EXPECT_EQ(after->beyond->flight, 16'777'215);
  EXPECT_EQ(after->farthest.at(1).window, before.farthest[1].window);
  EXPECT_EQ(after->shares.at(2).range_bin, 1023);
  EXPECT_EQ(after->shares.at(2).heard, 5000);
  EXPECT_FALSE(after->contacts.at(1).is_first);
  ASSERT_TRUE(after->others);
  EXPECT_EQ(after->others->at(1).step, 29);
  EXPECT_EQ(after->others->at(1).heard, 300);
}

// What is left of hours whose cells are gone is of the version that saw them.
TEST(SummaryBytes, OfTheVersionBeforeAreReadWithoutWhatItDidNotCount) {
  HourSummary before = sample();
  before.others.reset();
  const std::string bytes = summary_bytes(before);
  EXPECT_EQ(bytes.front(), '\3');
  const auto after = summary_of(bytes, before.hour_s);
  ASSERT_TRUE(after);
  EXPECT_FALSE(after->others);
  EXPECT_EQ(after->shares.size(), before.shares.size());
}

// Bands were cut at 10,000, 20,000 and 30,000 ft then. 24,000 ft was in the third, as 29,500 ft
// was, which is in the fourth now; what was counted by the third can be of either.
TEST(SummaryBytes, OfOtherBandsKeepWhatAltitudesTellAndCountToTheirSectors) {
  HourSummary before;
  before.farthest = {{5, 2, 280, 27, 29'500, 0, 1}, {5, 3, 310, 27, 33'000, 0, 2}};
  before.heard = {{4, 0, 100, 2}, {4, 0, 200, 3}};
  before.others.emplace();
  std::string bytes = summary_bytes(before);
  bytes.front() = '\2';
  // Of four bands, not of five: sector 5 is at place 20 as sector 4 is now.
  const auto after = summary_of(bytes, 0);
  ASSERT_TRUE(after);
  ASSERT_EQ(after->farthest.size(), 1u);
  EXPECT_EQ(after->farthest[0].band, 3);
  EXPECT_EQ(after->farthest[0].range_km, 310);
  ASSERT_EQ(after->heard.size(), 1u);
  EXPECT_EQ(after->heard[0].sector, 5);
  EXPECT_EQ(after->heard[0].band, SummaryBins::n_bands);
  EXPECT_EQ(after->heard[0].cells, 300);
  EXPECT_EQ(after->heard[0].flights, 5);
  EXPECT_EQ(summary_of(summary_bytes(*after), 0)->heard[0].band, SummaryBins::n_bands);
}

// LEB128 of 624485 is e5 8e 26 (DWARF debugging standard 5, appendix C; from memory).
TEST(SummaryBytes, AreVariableLengthNumbers) {
  HourSummary summary;
  summary.flights = 624'485;
  EXPECT_EQ(summary_bytes(summary).substr(1, 3), "\xe5\x8e\x26");
}

TEST(SummaryBytes, ThatAreCutOrSpoiltAreRefusedOrReadInBounds) {
  const std::string bytes = summary_bytes(sample());
  for (std::size_t n = 0; n < bytes.size(); ++n)
    EXPECT_FALSE(summary_of(bytes.substr(0, n), 0)) << n;
  EXPECT_FALSE(summary_of(bytes + '\0', 0));
  std::mt19937 random(3);
  for (int round = 0; round < 20'000; ++round) {
    std::string spoilt = bytes;
    spoilt[random() % spoilt.size()] = static_cast<char>(random());
    spoilt[random() % spoilt.size()] = static_cast<char>(random());
    const auto read = summary_of(spoilt, 0);
    if (!read) continue;
    for (const auto& at : read->farthest) EXPECT_TRUE(at.sector < 72 && at.band < 4);
    for (const auto& share : read->shares)
      EXPECT_TRUE(share.sector < 72 && share.elevation_bin < SummaryBins::n_elevations);
    for (const auto& some : read->others.value_or(std::vector<SummaryOthers>()))
      EXPECT_TRUE(some.sector < 72 && some.step < field_steps);
  }
}

}  // namespace
}  // namespace roundel::pattern
