// Expected instants were printed by `TZ=ZONE date -d LOCAL +%s` and `date -d @S` (GNU
// coreutils 9.1, tzdata 2025b), except where a comment says otherwise.
#include "roundel/config/time_zone.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <fstream>

#include "roundel/time.h"

namespace roundel::config {
namespace {

TimeZone zone(const std::string& name) {
  auto loaded = TimeZone::load(name);
  EXPECT_TRUE(loaded) << name << ": " << loaded.error().line();
  return *loaded;
}

double utc(std::string_view text) { return *parse_time(text); }

TEST(TimeZone, KnowsOffsetsOfWinterAndSummerOnBothHemispheres) {
  struct Row {
    const char* zone;
    const char* at;
    int offset_s;
  };
  for (const Row& row : {Row{"Europe/Vienna", "2026-01-15T12:00:00Z", 3600},
                         Row{"Europe/Vienna", "2026-07-15T12:00:00Z", 7200},
                         Row{"Europe/Vienna", "1975-07-15T12:00:00Z", 3600},  // no summer time yet
                         Row{"America/New_York", "2026-07-15T12:00:00Z", -4 * 3600},
                         Row{"Australia/Sydney", "2026-01-15T12:00:00Z", 11 * 3600},
                         Row{"Australia/Sydney", "2026-07-15T12:00:00Z", 10 * 3600},
                         Row{"Asia/Kathmandu", "2026-07-15T12:00:00Z", 20700},
                         // Beyond the table of transitions: the rule of the footer.
                         Row{"Europe/Vienna", "2060-01-15T12:00:00Z", 3600},
                         Row{"Europe/Vienna", "2060-07-15T12:00:00Z", 7200},
                         Row{"Australia/Sydney", "2060-01-15T12:00:00Z", 11 * 3600},
                         Row{"Australia/Sydney", "2060-07-15T12:00:00Z", 10 * 3600},
                         Row{"Asia/Kathmandu", "2060-07-15T12:00:00Z", 20700},
                         Row{"UTC", "2026-07-15T12:00:00Z", 0}})
    EXPECT_EQ(zone(row.zone).offset_s(utc(row.at)), row.offset_s) << row.zone << " " << row.at;
}

TEST(TimeZone, TheRuleInTheFooterChangesOnTheDayItNames) {
  // The last Sunday of March 2060 is the 28th, of October the 31st (cal 2060).
  const TimeZone vienna = zone("Europe/Vienna");
  EXPECT_EQ(vienna.offset_s(utc("2060-03-28T00:59:59Z")), 3600);
  EXPECT_EQ(vienna.offset_s(utc("2060-03-28T01:00:00Z")), 7200);
  EXPECT_EQ(vienna.offset_s(utc("2060-10-31T00:59:59Z")), 7200);
  EXPECT_EQ(vienna.offset_s(utc("2060-10-31T01:00:00Z")), 3600);
}

TEST(TimeZone, FindsTheInstantOfALocalTime) {
  const auto instants = zone("Europe/Vienna").of_local(utc("2026-07-15T12:00:00Z"));
  EXPECT_EQ(instants.earlier, utc("2026-07-15T10:00:00Z"));
  EXPECT_EQ(instants.later, instants.earlier);
}

TEST(TimeZone, AnHourThatIsRepeatedHasTwoInstants) {
  // Clocks were put back from 03:00 to 02:00 on 2026-10-25 (01:00 UTC).
  const auto instants = zone("Europe/Vienna").of_local(utc("2026-10-25T02:30:00Z"));
  EXPECT_EQ(instants.earlier, utc("2026-10-25T00:30:00Z"));
  EXPECT_EQ(instants.later, utc("2026-10-25T01:30:00Z"));
  const auto before = zone("Europe/Vienna").of_local(utc("2026-10-25T01:59:59Z"));
  EXPECT_EQ(before.earlier, before.later);
}

TEST(TimeZone, AnHourThatIsLeftOutIsReadByTheOffsetBefore) {
  // Clocks were put forward from 02:00 to 03:00 on 2026-03-29 (01:00 UTC).
  const auto instants = zone("Europe/Vienna").of_local(utc("2026-03-29T02:30:00Z"));
  EXPECT_EQ(instants.earlier, utc("2026-03-29T01:30:00Z"));
  EXPECT_EQ(instants.later, instants.earlier);
}

TEST(TimeZone, RefusesWhatIsNoZone) {
  for (const char* name : {"", "Europe/Atlantis", "../../etc/passwd", "/etc/passwd", "Europe"})
    EXPECT_EQ(TimeZone::load(name).error().code, Errc::bad_config) << name;
}

TEST(TimeZone, RefusesAFileThatIsDamaged) {
  const std::filesystem::path folder =
      std::filesystem::path(testing::TempDir()) / "roundel_time_zone_test";
  std::filesystem::create_directories(folder);
  std::ifstream in("/usr/share/zoneinfo/Europe/Vienna", std::ios::binary);
  const std::string whole(std::istreambuf_iterator<char>(in), {});
  ASSERT_GT(whole.size(), 100u);
  for (std::size_t n = 0; n < whole.size() - 30; n += 13) {  // at the end stands the footer
    std::ofstream(folder / "Cut", std::ios::binary) << whole.substr(0, n);
    EXPECT_FALSE(TimeZone::load("Cut", folder)) << n;
  }
  std::ofstream(folder / "Cut", std::ios::binary) << "TZif1" << whole.substr(5);
  EXPECT_EQ(TimeZone::load("Cut", folder).error().code, Errc::corrupt);
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace roundel::config
