// Whatever values reports have, the store takes what the recorder accepts, and the rest costs
// nothing but itself.
#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <limits>
#include <random>
#include <string>
#include <vector>

#include "daemon/record/recording.h"
#include "tests/record/roof_feed.h"
#include "tests/record/scene.h"
#include "tests/schema/store_fixture.h"

namespace roundel::record {
namespace {

using Rows = std::vector<std::string>;
using Random = std::mt19937_64;

double any_double(Random& random) {
  using Limits = std::numeric_limits<double>;
  const double odd[] = {
      0,     -0.0,   Limits::quiet_NaN(),  Limits::infinity(), -Limits::infinity(),
      1e300, -1e300, Limits::denorm_min(), Limits::max(),      Limits::lowest()};
  if (random() % 2 == 0) return odd[random() % std::size(odd)];
  return std::bit_cast<double>(random());
}

// No two alike, or three of them would move the feed's clock to where they are.
double any_time_s(Random& random, double now_s) {
  double time_s = any_double(random);
  if (time_s >= 0 && time_s < 1e12)
    time_s = now_s + static_cast<double>(random() % 100'000'000'000);
  return time_s;
}

/// One that must not be stored: at least one value is wrong, and the others may be.
feed::Report bad_report(const feed::Report& good, Random& random) {
  feed::Report bad = good;
  if (random() % 2 == 0) bad.address = static_cast<std::uint32_t>(random());
  const std::uint64_t wrong = 1 + random() % 31;
  const auto outside = [&](double limit) {
    for (;;)
      if (const double value = any_double(random); !(std::abs(value) <= limit)) return value;
  };
  if (wrong & 1U) bad.latitude_deg = outside(90);
  if (wrong & 2U) bad.longitude_deg = outside(180);
  if (wrong & 4U) bad.altitude_ft = outside(60'000);
  if (wrong & 8U) bad.signal_dbfs = outside(200);
  if (wrong & 16U)
    bad.address = random() % 2 == 0 ? 0 : 0xffffff + static_cast<std::uint32_t>(random() % 1000);
  if (random() % 4 == 0) bad.time_s = any_time_s(random, *good.time_s);
  return bad;
}

class AnyValue : public testing::TestWithParam<bool> {
 protected:
  /// Half an hour of five aircraft, with bad reports between if asked for.
  void record(const char* name, unsigned seed, bool with_bad) {
    Recording recording =
        schema::must(Recording::open({.store = folder_ / name,
                                      .site = {"Hill house", 52.1, 19.4, 14, 8, 14},
                                      .rules = {},
                                      .is_file = GetParam(),
                                      .commits_beside = GetParam(),
                                      .log = [](Level, std::string_view) {}}));
    schema::must(recording.add_feed(roof_feed()));
    Random random(seed), of_bad(seed + 1000);
    feed::Intake intake;
    n_bad_ = 0;
    for (double at_s = 0; at_s < 1800; at_s += 0.5) {
      for (const Plane& plane : some_planes(5)) {
        if (random() % 4 == 0) continue;
        feed::Report good = plane.at(t0_s + at_s);
        good.signal_dbfs = -200 + static_cast<double>(random() % 301);
        intake.reports.push_back({good, *good.time_s});
        while (with_bad && of_bad() % 3 == 0) {
          intake.reports.push_back({bad_report(good, of_bad), *good.time_s});
          ++n_bad_;
        }
      }
      if (random() % 100 != 0) continue;
      schema::must(recording.take_in("roof", intake));
      schema::must(recording.commit());
    }
    schema::must(recording.take_in("roof", intake));
    schema::must(recording.close());
    EXPECT_EQ(recording.refused().rows, 0) << recording.refused().latest;
    live_ = recording.counts().at(0).live;
    tally_ = schema::must(recording.store().tally(std::nullopt));
  }
  Rows rows(const char* name) {
    Rows out;
    for (const char* sql :
         {"SELECT * FROM cell ORDER BY id", "SELECT * FROM recent_cell ORDER BY id",
          "SELECT * FROM flight ORDER BY id", "SELECT * FROM coverage ORDER BY 1, 2"}) {
      const Rows more = schema::Client(folder_ / name).rows(sql);
      out.insert(out.end(), more.begin(), more.end());
    }
    return out;
  }

  schema::Folder folder_;
  std::int64_t n_bad_ = 0;
  LiveCounts live_;
  schema::Tally tally_;
};

TEST_P(AnyValue, IsStoredOrRejectedAndCostsNothingButItself) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    SCOPED_TRACE(seed);
    const std::string with = std::to_string(seed) + " with.db";
    const std::string without = std::to_string(seed) + " without.db";
    record(without.c_str(), seed, false);
    const schema::Tally expected = tally_;
    record(with.c_str(), seed, true);
    ASSERT_GT(n_bad_, 1000);
    EXPECT_EQ(tally_.at("received"), expected.at("received") + n_bad_);
    EXPECT_EQ(tally_.at("stored"), expected.at("stored"));
    std::int64_t accounted = 0;
    for (const auto& [kind, n] : tally_)
      if (kind != "received") accounted += n;
    EXPECT_EQ(accounted, tally_.at("received"));
    EXPECT_EQ(live_.stored, tally_.at("stored"));
    EXPECT_EQ(live_.received, live_.stored + live_.repeats + live_.rejected);
    EXPECT_GT(tally_["bad_signal"], 0);
    const Rows cells = rows(with.c_str());
    EXPECT_GT(cells.size(), 900u);
    EXPECT_EQ(cells, rows(without.c_str()));
  }
}

INSTANTIATE_TEST_SUITE_P(LiveAndFromFiles, AnyValue, testing::Bool(),
                         [](const auto& is_file) { return is_file.param ? "file" : "live"; });

// Every level that is accepted is one, and none spoils the mean of its cell.
TEST(AnyLevel, OfAFeedWhoseLevelsAreAnotherColumnIsRejected) {
  Scene scene;
  Plane plane;
  plane.signal_dbfs = plane.altitude_ft;
  scene.fly({plane}, 0, 60);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("bad_signal"), 120);
  EXPECT_EQ(shelf.count("received"), 120);
}

}  // namespace
}  // namespace roundel::record
