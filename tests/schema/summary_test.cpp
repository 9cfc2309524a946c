// Hourly summaries stay what their cells say, however the cells arrive.
#include <gmock/gmock.h>

#include <random>

#include "tests/schema/listing.h"

namespace roundel::schema {
namespace {

constexpr std::int64_t hour_windows = 360;
constexpr std::int64_t first_hour = day_s / 3600;

class Summaries : public testing::Test {
 protected:
  Summaries() : store_(must(Store::open(folder_ / "roundel.db", Store::Access::record))) {
    must(store_.keep_summaries(std::make_unique<Listing>()));
    batch_.feed = must(store_.feed_id("roof"));
    trial_ = must(store_.start_trial(trial_on("roof", "collinear", day_s))).id;
  }

  void add(std::int64_t window, Id flight, int heard = 12) {
    batch_.cells.push_back(cell_at(day_window + window, flight, heard));
  }
  void add_flight(Id id, std::int64_t first, std::optional<std::int64_t> last = {}) {
    batch_.flights.push_back(flight_of(id, trial_, day_window + first));
    if (last) batch_.flights.back().last_window = day_window + *last;
  }
  void commit() {
    must(store_.commit(batch_));
    batch_.cells.clear();
    batch_.flights.clear();
  }
  /// A cell so late that the given hours are complete.
  void complete(int n_hours) {
    add_flight(999, n_hours * hour_windows + 300);
    add(n_hours * hour_windows + 300, 999);
    commit();
  }
  std::vector<Summary> all(bool only_gone = false) {
    std::vector<Summary> out;
    must(store_.each_summary({}, only_gone, SummaryPart::places, [&](const Summary& summary) {
      out.push_back(summary);
      return true;
    }));
    return out;
  }
  SummaryCheck check() {
    Listing listing;
    return must(store_.check_summaries(listing));
  }
  void expect_exact(int batches_at_once);

  Folder folder_;
  Store store_;
  Batch batch_;
  Id trial_{};
};

TEST_F(Summaries, AreWrittenWithTheCellsThatCompleteTheHour) {
  add_flight(1, 3);
  add(3, 1);
  add(4, 1, 0);
  add(359, 1);
  add(360, 1);
  commit();
  EXPECT_EQ(all().size(), 0u) << "the hour may still change";
  EXPECT_LE(must(store_.summary_state()).before_s, day_s);
  complete(1);
  const auto made = all();
  ASSERT_EQ(made.size(), 1u);
  EXPECT_EQ(made[0].hour_s, day_s);
  EXPECT_EQ(made[0].trial, trial_);
  EXPECT_EQ(made[0].cells, 3);
  EXPECT_EQ(made[0].silent_cells, 1);
  EXPECT_EQ(made[0].heard, 24);
  EXPECT_EQ(made[0].expected, 60);
  EXPECT_EQ(made[0].detail.places, "3:1:12! 4:1:0 359:1:12 ");
  EXPECT_EQ(must(store_.summary_state()).before_s, (first_hour + 1) * 3600);
}

TEST_F(Summaries, StandForNothingWhileCellsComeLate) {
  add_flight(1, 3);
  add(3, 1);
  commit();
  complete(1);
  add(5, 1);
  commit();
  EXPECT_EQ(all().size(), 0u);
  const auto state = must(store_.summary_state());
  ASSERT_EQ(state.stale.size(), 1u);
  EXPECT_EQ(state.stale[0].hour_s, day_s);
  EXPECT_EQ(state.stale[0].trial, trial_);
  add(700, 999);
  commit();
  ASSERT_EQ(all().size(), 1u) << "a commit that leaves the hour alone makes it anew";
  EXPECT_EQ(all()[0].detail.places, "3:1:12! 5:1:12 ");
}

/// Every hour in a line, and the totals.
std::string sums(const Store& store, const Selection& which) {
  std::string out;
  for (const Hour& hour : must(store.hours(which)))
    out += fmt::format("{}: {} {} {}\n", (hour.hour_s - day_s) / 3600, hour.cells, hour.heard,
                       hour.expected);
  const Totals totals = must(store.totals());
  return out + fmt::format("{} {} {} {}\n", totals.cells, totals.silent_cells,
                           totals.from_s.value_or(0), totals.to_s.value_or(0));
}

TEST_F(Summaries, LeaveSumsAsTheyAreByCells) {
  auto by_cells = must(Store::open(folder_ / "cells.db", Store::Access::record));
  must(by_cells.feed_id("roof"));
  std::mt19937 random(5);
  std::vector<Id> trials{must(by_cells.start_trial(trial_on("roof", "collinear", day_s))).id};
  for (const auto& [antenna, start_s] : {std::pair{"spider", 4000}, {"whip", 12'000}}) {
    // Both begin within an hour.
    const Trial trial = trial_on("roof", antenna, day_s + start_s);
    trials.push_back(must(by_cells.start_trial(trial)).id);
    must(store_.start_trial(trial));
  }
  for (int i = 0; i < 3; ++i)
    batch_.flights.push_back(flight_of(i + 1, trials[static_cast<std::size_t>(i)], day_window));
  for (int window = 0; window < 2000; ++window)
    if (random() % 3 > 0)
      add(window, window < 400 ? 1 : window < 1200 ? 2 : 3, static_cast<int>(random() % 5));
  must(by_cells.commit(batch_));
  commit();
  add(42, 1);  // late: its hour is stale, and no summary stands for it
  must(by_cells.commit(batch_));
  commit();
  ASSERT_GE(all().size(), 4u);
  ASSERT_EQ(must(store_.summary_state()).stale.size(), 1u);
  Selection part;
  part.from_s = static_cast<double>(day_s + 1000);
  part.to_s = static_cast<double>(day_s + 15'000);
  Selection spider;
  spider.antenna = "spider";
  for (const Selection& which : {Selection(), part, spider})
    EXPECT_EQ(sums(store_, which), sums(by_cells, which));
  while (must(store_.summarise(1))) {
  }
  EXPECT_EQ(sums(store_, part), sums(by_cells, part)) << "with a summary of every hour, too";
}

TEST_F(Summaries, FollowTheEndOfAFlight) {
  add_flight(1, 3);
  for (const int window : {3, 4, 5}) add(window, 1);
  commit();
  complete(1);
  ASSERT_EQ(all()[0].detail.places, "3:1:12! 4:1:12 5:1:12 ");
  add_flight(1, 3, 5);
  commit();
  EXPECT_FALSE(must(store_.summarise(10)));
  EXPECT_EQ(all()[0].detail.places, "3:1:12! 4:1:12 5:1:12! ");
  EXPECT_EQ(check().wrong_hours_s, std::vector<std::int64_t>{});
}

TEST_F(Summaries, AreMadeAnewByAnotherMethodAndAtAnotherSite) {
  must(store_.set_site({"Hill house", 52.1, 19.4, 110, 12, 100}));
  add_flight(1, 3);
  add(3, 1);
  commit();
  complete(1);
  must(store_.keep_summaries(std::make_unique<Listing>(1)));
  EXPECT_EQ(all().size(), 1u) << "the same method";
  must(store_.keep_summaries(std::make_unique<Listing>(2)));
  EXPECT_EQ(all().size(), 0u);
  must(store_.summarise(10));
  EXPECT_EQ(all().size(), 1u);
  must(store_.set_site({"Hill house", 52.1, 19.4, 110, 12, 100}));
  EXPECT_EQ(all().size(), 1u) << "the same site";
  must(store_.set_site({"Hill house", 52.2, 19.4, 110, 12, 100}));
  EXPECT_EQ(all().size(), 0u);
}

TEST_F(Summaries, ArePickedBySelection) {
  add_flight(1, 3);
  add_flight(2, 363);
  add(3, 1);
  add(363, 2);
  commit();
  complete(2);
  const auto hours = [&](std::optional<double> from_s, std::optional<double> to_s) {
    Selection which;
    which.from_s = from_s;
    which.to_s = to_s;
    std::vector<std::int64_t> out;
    must(store_.each_summary(which, false, SummaryPart::places, [&](const Summary& summary) {
      out.push_back((summary.hour_s - day_s) / 3600);
      return true;
    }));
    return out;
  };
  const auto from = static_cast<double>(day_s);
  EXPECT_THAT(hours({}, {}), testing::ElementsAre(0, 1));
  EXPECT_THAT(hours(from + 1, {}), testing::ElementsAre(1)) << "those that begin in it";
  EXPECT_THAT(hours({}, from + 3600), testing::ElementsAre(0));
  EXPECT_THAT(hours({}, from + 3601), testing::ElementsAre(0, 1));
  must(store_.stop_trial("roof", day_s + 1800));
  EXPECT_THAT(hours({}, {}), testing::ElementsAre(0)) << "hours of the trial";
}

TEST_F(Summaries, ThatDifferFromTheirCellsAreNamed) {
  for (const int hour : {0, 1, 2, 3}) {
    add_flight(hour + 1, hour * hour_windows + 7);
    add(hour * hour_windows + 7, hour + 1);
  }
  commit();
  complete(4);
  add(1500, 999);
  commit();
  EXPECT_EQ(check().hours, 4);
  EXPECT_EQ(check().wrong_hours_s, std::vector<std::int64_t>{});
  Client client(folder_ / "roundel.db");
  client.rows("UPDATE summary SET heard = heard + 1 WHERE hour_s = " + std::to_string(day_s));
  client.rows("DELETE FROM summary WHERE hour_s = " + std::to_string(day_s + 3600));
  client.rows("DELETE FROM cell WHERE window >= " + std::to_string(day_window + 2 * hour_windows) +
              " AND window < " + std::to_string(day_window + 3 * hour_windows));
  EXPECT_THAT(check().wrong_hours_s, testing::ElementsAre(day_s, day_s + 3600, day_s + 7200))
      << "changed, missing, without cells";
}

// Any order of arrival: cells rewritten, late by hours, flights that end late or move their ends,
// two trials. After each commit, whatever is not stale is right; at the end, all of it.
void Summaries::expect_exact(int batches_at_once) {
  const Id other_feed = must(store_.feed_id("mast"));
  const Id other = must(store_.start_trial(trial_on("mast", "spider", day_s))).id;
  std::mt19937 random(11);
  const auto below = [&](int n) { return std::uniform_int_distribution<int>(0, n - 1)(random); };
  int now = 0;
  std::int64_t most_stale = 0;
  for (int round = 0; round < 150; ++round) {
    now += below(60);
    const bool is_other = below(3) == 0;
    batch_.feed = is_other ? other_feed : 1;
    for (int i = below(40); i > 0; --i) {
      const int window = std::max(0, now - (below(5) == 0 ? below(1500) : below(30)));
      const Id flight = 1 + 2 * below(30) + is_other;
      add(window, flight, below(20));
      if (below(4) == 0) {
        add_flight(flight, below(window + 1),
                   below(2) == 0 ? std::nullopt : std::optional(std::int64_t{window}));
        batch_.flights.back().trial = is_other ? other : trial_;
      }
    }
    if (round % batches_at_once != batches_at_once - 1) {
      must(store_.append(batch_));
      batch_.cells.clear();
      batch_.flights.clear();
      continue;
    }
    commit();
    const auto found = check();
    ASSERT_EQ(found.wrong_hours_s, std::vector<std::int64_t>{}) << "round " << round;
    most_stale = std::max(most_stale, found.stale);
  }
  must(store_.commit({}));
  EXPECT_TRUE(most_stale > 0 || batches_at_once > 1);
  while (must(store_.summarise(3))) {
  }
  EXPECT_EQ(check().stale, 0);
  EXPECT_GT(check().hours, 8);
  EXPECT_EQ(must(store_.summary_state()).before_s / 3600,
            (day_window + now - 190) / 36 * 36 / hour_windows);
}

TEST_F(Summaries, AreExactHoweverCellsArrive) { expect_exact(1); }

// Those of hours that began in the transaction are made of what memory holds.
TEST_F(Summaries, AreExactWhereManyBatchesAreStoredAtOnce) { expect_exact(40); }

}  // namespace
}  // namespace roundel::schema
