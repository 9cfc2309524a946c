// The computer's clock is set forward, back, or was never set: a feed without times of its own is
// recorded by it. The clock is the test's.
#include <gtest/gtest.h>

#include <algorithm>

#include "daemon/record/recording.h"
#include "tests/faults/recorded.h"
#include "tests/record/roof_feed.h"

namespace roundel::faults {
namespace {

constexpr double day_s = 86'400, year_s = 365 * day_s, t0_s = 1'772'445'600;

class ComputerClock : public Recorded {
 protected:
  void open(schema::Retention keep = {}) {
    record::Recording::Options options;
    options.store = database();
    options.site = {"Hill house", 52.1, 19.4, 110, 12, 100};
    options.keep = keep;
    options.log = [](Level, std::string_view) {};
    auto opened = record::Recording::open(std::move(options));
    ASSERT_TRUE(opened) << opened.error().line();
    recording_ = std::make_unique<record::Recording>(std::move(*opened));
    ASSERT_TRUE(recording_->add_feed(record::roof_feed()));
  }
  /// So many seconds of one aircraft on its circle, arriving by a clock that shows `from_s` first.
  void hear(double from_s, double seconds) {
    feed::Intake intake;
    for (double at = 0; at < seconds; at += 0.5, flown_s_ += 0.5) {
      const double angle = 0.22 * flown_s_ / 80;
      feed::Report report{};
      report.address = 0x4b1617;
      report.latitude_deg = 52.1 + 80 * std::cos(angle) / 111.2;
      report.longitude_deg = 19.4 + 80 * std::sin(angle) / 68.3;
      report.altitude_ft = 36'000;
      intake.reports.push_back({report, from_s + at});
      if (std::ssize(intake.reports) < 120) continue;
      n_sent_ += std::ssize(intake.reports);
      ASSERT_TRUE(recording_->take_in("roof", intake));
      ASSERT_TRUE(recording_->commit());
    }
  }
  void close() {
    ASSERT_TRUE(recording_->close());
    recording_.reset();
    EXPECT_EQ(received(), n_sent_);
    expect_whole();
  }
  /// Seconds that are covered by cells, and by recordings.
  double cells_s() const { return 10.0 * status()["cells"].get<double>(); }
  double recorded_s() const { return status()["feeds"][0]["recorded_s"].get<double>(); }

  std::unique_ptr<record::Recording> recording_;
  double flown_s_ = 0;
  std::int64_t n_sent_ = 0;
};

TEST_F(ComputerClock, SetForwardByAYearInventsNothing) {
  open();
  hear(t0_s, 600);
  hear(t0_s + 600 + year_s, 600);
  close();
  EXPECT_NEAR(cells_s(), 1200, 60) << "no silent cells across the year";
  EXPECT_NEAR(recorded_s(), 1200, 60);
}

TEST_F(ComputerClock, SetBackByAnHourRecordsNoSecondTwice) {
  open();
  hear(t0_s, 3600);
  hear(t0_s + 1800, 3600);
  close();
  // Half an hour was recorded before; where the aircraft flew meanwhile, no second cell stands.
  EXPECT_LE(cells_s(), 5400 + 60);
  EXPECT_NEAR(recorded_s(), 5400, 120);
}

// Summer time changes no clock that counts seconds, but someone may set one by hand all the same.
TEST_F(ComputerClock, ToAndFroEveryTenMinutesCountsEveryReport) {
  open();
  double clock_s = t0_s;
  for (int i = 0; i < 12; ++i, clock_s += 600 + (i % 2 == 0 ? -3600 : 3600)) hear(clock_s, 600);
  close();
}

TEST_F(ComputerClock, NeverSetBeforeTheNetworkComesIsKeptApart) {
  open();
  hear(30, 300);  // half a minute after the start of 1970, as boards without a battery begin
  hear(t0_s, 600);
  close();
  EXPECT_NEAR(cells_s(), 900, 90);
}

TEST_F(ComputerClock, ALeapSecondIsOneLongSecond) {
  open();
  hear(t0_s, 600);
  hear(t0_s + 599, 600);
  close();
  EXPECT_NEAR(cells_s(), 1200, 30);
}

TEST_F(ComputerClock, SuspendLeavesAGapThatSaysNothing) {
  open();
  hear(t0_s, 600);
  hear(t0_s + 600 + 7 * day_s, 600);
  close();
  EXPECT_NEAR(cells_s(), 1200, 60);
}

// What is kept is counted in hours that were recorded.
TEST_F(ComputerClock, SetForwardByAYearRemovesNoCells) {
  open({.hours = 24, .bytes = {}});
  hear(t0_s, 2 * 3600);
  hear(t0_s + year_s, 3 * 3600);
  for (int i = 0; i < 10; ++i) {
    const auto more = recording_->retain();
    ASSERT_TRUE(more);
    EXPECT_FALSE(*more);
  }
  close();
  EXPECT_NEAR(cells_s(), 5 * 3600, 60);
}

}  // namespace
}  // namespace roundel::faults
