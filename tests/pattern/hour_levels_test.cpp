// What an hour tells of levels, and what many counts say of one.
#include "analysis/pattern/hour_levels.h"

#include <gmock/gmock.h>

#include <random>

#include "analysis/pattern/hour_exposure_bytes.h"
#include "roundel/pattern/threshold.h"

namespace roundel::pattern {
namespace {

Group group_at(float spreading_db, std::uint16_t sector = 3) {
  Group out;
  out.spreading_db = spreading_db;
  out.elevation_deg = 2;
  out.horizon_ratio = 0.5F;
  out.cos_aspect = 0.4F;
  out.heard = 30;
  out.chances = 40;
  out.cells = 2;
  out.sector = sector;
  return out;
}

HourExposure hour_of(std::vector<Group> groups) {
  HourExposure out;
  out.counts.start_s = 1'772'323'200;
  out.first_window = out.last_window = out.counts.start_s / 10;
  out.sector_cells.assign(72, 0);
  out.heard_histogram[9] = 5;
  FlightHour flight;
  flight.flight.id = 7;
  flight.groups = std::move(groups);
  flight.first_cell = group_at(9);
  flight.backwards = Ending{{out.first_window, 1, 2, 30'000}, {out.first_window + 3, 4, 5, 30'000}};
  out.flights.push_back(std::move(flight));
  return out;
}

TEST(HourLevels, JoinsNeighboursThatSayTheSame) {
  Group weaker = group_at(1.5F);
  weaker.chances = 120;
  weaker.heard = 60;
  const HourLevels told = levels_of(hour_of({group_at(1), weaker, group_at(4), group_at(4, 4)}));
  ASSERT_EQ(told.groups.size(), 3U);
  EXPECT_FLOAT_EQ(told.groups[0].spreading_db, 1.375F);  // by chances: (1 x 40 + 1.5 x 120) / 160
  EXPECT_EQ(told.groups[0].heard, 90);
  EXPECT_EQ(told.groups[0].chances, 160);
  EXPECT_EQ(told.groups[2].sector, 4);
  ASSERT_EQ(told.flights.size(), 1U);
  EXPECT_EQ(told.flights[0].n_groups, 3U);
}

TEST(HourLevels, LeavesOutWhatTellsNoLevel) {
  std::vector<Group> groups(4, group_at(1));
  groups[0].kind = GroupKind::inferred;
  groups[1].horizon_ratio = 0.95F;
  groups[2].elevation_deg = 0.3F;
  groups[3].chances = 0;
  EXPECT_TRUE(levels_of(hour_of(groups)).groups.empty());
}

TEST(HourLevels, AreTheSameFromBytes) {
  const HourExposure hour = hour_of({group_at(1), group_at(4), group_at(4, 60), group_at(1, 2)});
  const HourLevels direct = levels_of(hour);
  const auto read = levels_of(exposure_bytes(hour), hour.counts.start_s);
  ASSERT_TRUE(read);
  EXPECT_EQ(read->start_s, direct.start_s);
  EXPECT_EQ(read->first_window, direct.first_window);
  EXPECT_EQ(read->heard_histogram, direct.heard_histogram);
  ASSERT_EQ(read->flights.size(), 1U);
  EXPECT_EQ(read->flights[0].id, 7);
  ASSERT_EQ(read->groups.size(), direct.groups.size());
  for (std::size_t i = 0; i < direct.groups.size(); ++i) {
    EXPECT_NEAR(read->groups[i].spreading_db, direct.groups[i].spreading_db, 0.006);
    EXPECT_NEAR(read->groups[i].cos_aspect, direct.groups[i].cos_aspect, 0.011);
    EXPECT_EQ(read->groups[i].heard, direct.groups[i].heard);
    EXPECT_EQ(read->groups[i].chances, direct.groups[i].chances);
    EXPECT_EQ(read->groups[i].sector, direct.groups[i].sector);
  }
  EXPECT_FALSE(levels_of("no such bytes", hour.counts.start_s));
  const std::string bytes = exposure_bytes(hour);
  for (std::size_t n = 0; n < bytes.size(); ++n)
    EXPECT_FALSE(levels_of(std::string_view(bytes).substr(0, n), hour.counts.start_s)) << n;
}

}  // namespace
}  // namespace roundel::pattern
