// What all flights tell of levels, by flight, and a sample of them.
#include "analysis/trial/level_record.h"

#include <gmock/gmock.h>

namespace roundel::trial {
namespace {

pattern::HourLevels hour(std::int64_t hour_number, std::vector<schema::Id> flights,
                         std::uint16_t sector) {
  pattern::HourLevels out;
  out.start_s = hour_number * 3600;
  out.first_window = hour_number * schema::windows_per_hour;
  out.last_window = out.first_window + 9;
  out.heard_histogram.assign(256, 1);
  for (const schema::Id id : flights) {
    out.flights.push_back({id, 1});
    pattern::LevelGroup& group = out.groups.emplace_back();
    group.elevation_deg = 2;
    group.sector = sector;
    group.chances = static_cast<std::uint16_t>(id);
  }
  return out;
}

std::vector<schema::Flight> flights(schema::Id n) {
  std::vector<schema::Flight> out(static_cast<std::size_t>(n));
  for (schema::Id id = 1; id <= n; ++id) {
    out[static_cast<std::size_t>(id - 1)].id = id;
    out[static_cast<std::size_t>(id - 1)].address = static_cast<std::uint64_t>(1000 + id);
  }
  return out;
}

TEST(LevelRecord, PutsTogetherWhatAFlightToldInSeveralHours) {
  LevelRecord record(5, flights(4));
  record.add(hour(100, {2, 1}, 7));
  record.add(hour(103, {3, 2, 99}, 8));  // 99 is none of them
  record.finish();
  EXPECT_EQ(record.n_hours(), 4U);
  EXPECT_EQ(record.hour_s(3), 103 * 3600);
  EXPECT_EQ(record.from_s(), 100 * 3600);
  EXPECT_EQ(record.to_s(), 103 * 3600 + 100);
  std::vector<std::vector<int>> hours(4);
  for (std::size_t f = 0; f < 4; ++f)
    record.each_part(f, [&](std::span<const pattern::LevelGroup> groups) {
      for (const auto& group : groups) {
        EXPECT_EQ(group.chances, f + 1);
        hours[f].push_back(group.hour);
      }
    });
  EXPECT_THAT(hours, testing::ElementsAre(testing::ElementsAre(0), testing::ElementsAre(0, 3),
                                          testing::ElementsAre(3), testing::IsEmpty()));
}

TEST(LevelRecord, SamplesSoManyFlightsInEverySector) {
  LevelRecord record(5, flights(60));
  std::vector<schema::Id> many(40), few(15);
  for (std::size_t i = 0; i < many.size(); ++i) many[i] = static_cast<schema::Id>(i + 1);
  for (std::size_t i = 0; i < few.size(); ++i) few[i] = static_cast<schema::Id>(i + 41);
  record.add(hour(5, many, 3));
  record.add(hour(6, few, 71));
  record.finish();
  const pattern::Exposure some = record.sample(20);
  EXPECT_EQ(some.flights.size(), 35U);
  EXPECT_EQ(some.hours.size(), 2U);
  EXPECT_EQ(some.heard_histogram[17], 2);
  int of_many = 0;
  for (std::uint32_t f = 0; f < some.flights.size(); ++f) {
    ASSERT_EQ(some.of(some.flights[f]).size(), 1U);
    const pattern::Group& group = some.of(some.flights[f]).front();
    EXPECT_EQ(group.flight, f);
    EXPECT_EQ(some.flights[f].address, 1000U + group.chances);
    EXPECT_EQ(group.sector, group.chances <= 40 ? 3 : 71);
    EXPECT_EQ(group.hour, group.chances <= 40 ? 0 : 1);
    of_many += group.sector == 3;
  }
  EXPECT_EQ(of_many, 20);
}

}  // namespace
}  // namespace roundel::trial
