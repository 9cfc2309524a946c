// What summaries say of flights, handed on as it was kept.
#include "analysis/pattern/stretches.h"

#include <gmock/gmock.h>

#include <mutex>
#include <thread>

#include "analysis/pattern/hour_exposure_bytes.h"

namespace roundel::pattern {
namespace {

constexpr std::int64_t first_hour_s = 1'772'323'200;

/// An hour of one flight in the first sector.
schema::Summary hour_of(int number) {
  HourExposure hour;
  hour.counts = {first_hour_s + 3600 * number, 10 + number, 5, 200, 0};
  hour.first_window = hour.last_window = hour.counts.start_s / schema::window_s;
  hour.sector_cells.assign(72, 0);
  FlightHour flight;
  flight.flight.id = 1;
  Group group;
  group.cells = 10;
  group.chances = 200;
  flight.groups = {group};
  hour.flights.push_back(std::move(flight));
  schema::Summary stored;
  stored.hour_s = hour.counts.start_s;
  stored.trial = 1 + number % 2;
  stored.detail.flights = exposure_bytes(hour);
  return stored;
}

class FlightHoursTest : public testing::Test {
 protected:
  FlightHoursTest()
      : hours_(hours_by_sector(5, by_id_), [this](schema::Id trial, HourExposure hour) {
          const std::unique_lock alone(is_taking_, std::try_to_lock);
          taken_by_one_ = taken_by_one_ && alone.owns_lock();
          trials_.push_back(trial);
          cells_.push_back(hour.counts.cells);
          flights_ += std::ssize(hour.flights);
        }) {}

  std::vector<schema::Flight> known_ =
      std::vector<schema::Flight>(1, schema::Flight{1, 1, 0xabc, 0, {}});
  FlightsById by_id_{known_};
  std::mutex is_taking_;
  bool taken_by_one_ = true;
  std::vector<schema::Id> trials_;
  std::vector<std::int64_t> cells_;
  std::ptrdiff_t flights_ = 0;
  FlightHours hours_;
};

TEST_F(FlightHoursTest, AreHandedOnInOrderHoweverMany) {
  constexpr int n = 101;
  for (int i = 0; i < n; ++i) {
    ASSERT_TRUE(hours_.add(hour_of(i)));
    if (i == 60) {
      ASSERT_TRUE(hours_.finish());
      EXPECT_EQ(cells_.size(), 61u) << "cells may come next";
    }
  }
  ASSERT_TRUE(hours_.finish());
  ASSERT_EQ(cells_.size(), std::size_t{n});
  for (int i = 0; i < n; ++i) {
    EXPECT_EQ(cells_[static_cast<std::size_t>(i)], 10 + i);
    EXPECT_EQ(trials_[static_cast<std::size_t>(i)], 1 + i % 2);
  }
  EXPECT_EQ(flights_, n);
  EXPECT_TRUE(taken_by_one_);
}

TEST_F(FlightHoursTest, LeaveTimeForWhatGoesOnBeside) {
  int turns = 0;
  std::mutex is_turning;
  bool alone = true;
  FlightHours hours(hours_by_sector(5, by_id_), [](schema::Id, const HourExposure&) {}, {[&] {
                      const std::unique_lock turn(is_turning, std::try_to_lock);
                      alone = alone && turn.owns_lock();
                      ++turns;
                    }});
  for (int i = 0; i < 100; ++i) ASSERT_TRUE(hours.add(hour_of(i)));
  ASSERT_TRUE(hours.finish());
  EXPECT_GT(turns, 3);
  EXPECT_TRUE(alone);
}

TEST_F(FlightHoursTest, SayWhichHourIsNoneOfOurs) {
  ASSERT_TRUE(hours_.add(hour_of(0)));
  schema::Summary broken = hour_of(1);
  broken.detail.flights.pop_back();
  ASSERT_TRUE(hours_.add(broken));
  const auto done = hours_.finish();
  ASSERT_FALSE(done);
  EXPECT_EQ(done.error().code, Errc::corrupt);
  EXPECT_LE(cells_.size(), 1u) << "nothing after it";
}

TEST_F(FlightHoursTest, LeaveOutHoursThatSayNothing) {
  schema::Summary nothing = hour_of(0);
  nothing.detail.flights.clear();
  ASSERT_TRUE(hours_.add(nothing));
  ASSERT_TRUE(hours_.add(hour_of(1)));
  ASSERT_TRUE(hours_.finish());
  EXPECT_THAT(cells_, testing::ElementsAre(11));
}

}  // namespace
}  // namespace roundel::pattern
