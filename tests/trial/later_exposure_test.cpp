// Hours that one thread gives and another puts together are those of a builder alone.
#include "analysis/trial/later_exposure.h"

#include <gtest/gtest.h>

#include <thread>

#include "roundel/site/sightline.h"

namespace roundel::trial {
namespace {

constexpr int n_hours = 200;

/// One flight through all hours, heard better in each.
pattern::HourExposure hour_of(int number) {
  pattern::HourExposure out;
  out.counts = {1'772'323'200 + 3600 * number, 10, number, 200, 0};
  out.first_window = out.last_window = out.counts.start_s / schema::window_s;
  out.sector_cells.assign(72, 1);
  pattern::FlightHour flight;
  flight.flight.id = 1;
  pattern::Group group;
  group.cells = 10;
  group.heard = static_cast<std::uint16_t>(number);
  group.chances = 200;
  flight.groups = {group};
  out.flights.push_back(std::move(flight));
  return out;
}

TEST(LaterExposure, CountsHoursInTheOrderGiven) {
  const auto viewpoint = *site::Viewpoint::from({"Hill house", 52.1, 19.4, 110, 12, 100});
  LaterExposure later(viewpoint, 5, 0);
  std::thread settling([&] {
    for (int i = 0; i < 50; ++i) {
      later.settle();
      std::this_thread::yield();
    }
  });
  for (int i = 0; i < n_hours; ++i) later.give(hour_of(i));
  settling.join();
  const pattern::Exposure shown = later.finish();
  ASSERT_EQ(shown.hours.size(), std::size_t{n_hours});
  EXPECT_EQ(shown.n_cells, 10 * n_hours);
  ASSERT_EQ(shown.groups.size(), std::size_t{n_hours});
  for (int i = 0; i < n_hours; ++i)
    EXPECT_EQ(shown.groups[static_cast<std::size_t>(i)].heard, i) << "in order";
}

}  // namespace
}  // namespace roundel::trial
