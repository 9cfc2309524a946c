// Less heard than on the days before: found from counts by place, with an interval that holds.
#include "roundel/trial/sensitivity.h"

#include <gmock/gmock.h>

#include <random>

#include "analysis/pattern/summary_bytes.h"
#include "analysis/trial/student_t.h"
#include "tests/schema/store_fixture.h"

namespace roundel::trial {
namespace {

// Two-sided 95 % points, from the table in any statistics handbook (3 digits printed).
TEST(StudentT, AgreesWithTheTable) {
  const std::pair<int, double> table[] = {{4, 2.776}, {5, 2.571},  {7, 2.365},
                                          {9, 2.262}, {14, 2.145}, {26, 2.056}};
  for (const auto& [degrees, t] : table)
    EXPECT_NEAR(student_t975(degrees), t, 0.003 * t) << degrees;
}

/// Days of counts whose truth is known: a threshold 4 dB soft at 200 km, a mix of places that
/// differs from day to day, and a level of the day.
class Days {
 public:
  explicit Days(unsigned seed) : random_(seed) {}
  pattern::HourSummary hour(double level_db) {
    pattern::HourSummary out;
    for (int sector = 0; sector < 72; sector += 3) {
      for (int bin = 6; bin < 38; ++bin) {
        const double x_db = -20 * std::log10((bin + 0.5) * 10 / 200) + level_db;
        const double p = 1 / (1 + std::exp(-x_db / 4));
        const int chances = 20 * std::poisson_distribution<int>(mean_cells_)(random_);
        if (chances == 0) continue;
        out.shares.push_back(
            {sector, bin, 0, std::binomial_distribution<int>(chances, p)(random_), chances});
      }
    }
    return out;
  }
  SensitivityDay day(int number, double level_db) {
    mean_cells_ = std::uniform_real_distribution<double>(8, 25)(random_);
    return {number * 86'400,
            hour(level_db + std::normal_distribution<double>(0, 0.15)(random_)).shares};
  }
  std::vector<SensitivityDay> days(int n, double last_db) {
    std::vector<SensitivityDay> out;
    for (int i = 0; i < n; ++i) out.push_back(day(i, i == n - 1 ? last_db : 0));
    return out;
  }

 private:
  std::mt19937 random_;
  double mean_cells_ = 1;
};

TEST(Sensitivity, FindsALossOfOneDecibelWhateverTheTrafficsMix) {
  double sum = 0;
  for (unsigned seed = 1; seed <= 20; ++seed) {
    const auto change = sensitivity_change(Days(seed).days(15, -1));
    ASSERT_TRUE(change);
    EXPECT_EQ(change->days, 14);
    EXPECT_EQ(change->from_s, 14 * 86'400);
    EXPECT_LT(change->high_db, 0) << seed;
    sum += change->change_db / 20;
  }
  // Days differ by 0.15 dB: the mean of twenty is known to 0.035 dB. The softness is taken from
  // shares to which the lost day adds, hence somewhat more.
  EXPECT_NEAR(sum, -1, 0.12);
}

TEST(Sensitivity, IntervalsHoldTheTruthInNineteenOfTwentyCases) {
  int n_held = 0;
  double width_db = 0;
  for (unsigned seed = 100; seed < 300; ++seed) {
    const auto change = sensitivity_change(Days(seed).days(8, 0));
    ASSERT_TRUE(change);
    n_held += change->low_db <= 0 && change->high_db >= 0;
    width_db += (change->high_db - change->low_db) / 200;
  }
  // 99.9 % of the binomial of 200 at 0.95.
  EXPECT_GE(n_held, 179);
  EXPECT_LE(n_held, 198);
  // 2 t(6) 0.15 sqrt(1 + 1/7) = 0.78 dB, and what counting adds.
  EXPECT_NEAR(width_db, 0.78, 0.15);
}

TEST(Sensitivity, IsSilentWithTooFewDaysOrNothingToTell) {
  EXPECT_FALSE(sensitivity_change(Days(1).days(5, 0)));
  EXPECT_TRUE(sensitivity_change(Days(1).days(6, 0)));
  EXPECT_FALSE(sensitivity_change(Days(1).days(6, 200))) << "all heard on the last day";
  EXPECT_FALSE(sensitivity_change(std::span<const SensitivityDay>()));
}

/// Gives each hour the summary that was prepared for it.
class Prepared : public schema::Summariser {
 public:
  explicit Prepared(std::map<std::int64_t, std::string> by_hour) : by_hour_(std::move(by_hour)) {}
  int method() const override { return 1; }
  void add(const schema::Cell& cell, const schema::Flight& flight) override {
    hour_ = cell.window / 360;
    trial_ = flight.trial;
  }
  std::map<schema::Id, schema::SummaryDetail> finish() override {
    return {{trial_, {by_hour_[hour_], {}}}};
  }
  schema::SummaryDetail merged(const schema::SummaryDetail& a,
                               const schema::SummaryDetail&) const override {
    return a;
  }

 private:
  std::map<std::int64_t, std::string> by_hour_;
  std::int64_t hour_ = 0;
  schema::Id trial_ = 0;
};

TEST(Sensitivity, IsAskedOfTheSummariesOfATrial) {
  using namespace schema;
  constexpr int n_days = 9;
  Folder folder;
  Store store = must(Store::open(folder / "roundel.db", Store::Access::record));
  Days days(4);
  std::map<std::int64_t, std::string> by_hour;
  const std::int64_t first = day_s / 3600;
  Batch batch;
  batch.feed = must(store.feed_id("roof"));
  const Id trial = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
  for (int hour = 0; hour <= n_days * 24; ++hour) {
    by_hour[first + hour] = pattern::summary_bytes(days.hour(hour >= (n_days - 1) * 24 ? -1.5 : 0));
    batch.flights.push_back(flight_of(hour + 1, trial, (first + hour) * 360 + 300));
    batch.cells.push_back(cell_at((first + hour) * 360 + 300, hour + 1));
  }
  must(store.keep_summaries(std::make_unique<Prepared>(std::move(by_hour))));
  must(store.commit(batch));
  while (must(store.summarise(100))) {
  }
  EXPECT_EQ(must(store.summary_state()).before_s, day_s + n_days * 86'400);
  const auto change = must(sensitivity_change(store, trial));
  ASSERT_TRUE(change);
  EXPECT_EQ(change->days, n_days - 1);
  EXPECT_EQ(change->to_s, day_s + n_days * 86'400);
  EXPECT_NEAR(change->change_db, -1.5, 0.2);
  EXPECT_LT(change->high_db, -1.2) << "the days before are alike";
}

}  // namespace
}  // namespace roundel::trial
