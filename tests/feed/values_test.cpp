// What layouts can say of values: pairs, conditions, decimal commas, dates, zones and ages.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/feed/intake.h"
#include "roundel/feed/layout_reader.h"
#include "roundel/time.h"
#include "tests/feed/layouts.h"

namespace roundel::feed {
namespace {

config::Layout pairs(char delimiter, char between) {
  config::Layout layout = pointers("id", "lat", "lon");
  layout.kind = config::LayoutKind::pairs;
  layout.delimiter = delimiter;
  layout.between = between;
  layout.altitude = at("alt");
  return layout;
}

TEST(Pairs, AreReadInAnyOrder) {
  struct Row {
    char delimiter, between;
    const char* line;
  };
  for (const Row& row : {Row{' ', '=', "id=4b1617 lat=52.5 lon=19.75 alt=36000"},
                         Row{' ', '=', "lon=19.75   alt=36000 note lat=52.5 id=4b1617"},
                         Row{'\t', '=', "alt=36000\tname=A B\tlon=19.75\tlat=52.5\tid=4b1617"},
                         Row{'\t', '\t', "lat\t52.5\tnote\t\tlon\t19.75\tid\t4b1617\talt\t36000"},
                         Row{' ', ' ', "lat 52.5 lon 19.75  id 4b1617 alt 36000"},
                         Row{';', ':', "lat: 52.5; lon: 19.75; id: 4b1617; alt: 36000; id: 1"}}) {
    LayoutReader reader(pairs(row.delimiter, row.between));
    const auto report = reader.read(row.line, 0);
    ASSERT_TRUE(report) << row.line;
    EXPECT_EQ(report->address, 0x4b1617u) << row.line;
    EXPECT_EQ(report->latitude_deg, 52.5) << row.line;
    EXPECT_EQ(report->longitude_deg, 19.75) << row.line;
    EXPECT_EQ(report->altitude_ft, 36000) << row.line;
  }
}

TEST(Pairs, WithoutAPositionAreNoPosition) {
  LayoutReader reader(pairs(' ', '='));
  for (const char* line : {"id=4b1617 speed=300", "id=4b1617 lat= lon=", "nothing", "=", " "})
    EXPECT_EQ(reader.read(line, 0).error(), Reject::not_position) << line;
}

TEST(Keep, TellsListsThatNameAField) {
  using config::KeepTest;
  struct Row {
    KeepTest test;
    const char* flags;
    bool is_kept;
  };
  for (const Row& row :
       {Row{KeepTest::lacks, R"(["lat","lon"])", false}, Row{KeepTest::lacks, R"(["speed"])", true},
        Row{KeepTest::lacks, R"([])", true}, Row{KeepTest::lacks, R"(null)", true},
        Row{KeepTest::lacks, R"("speed lat")", false}, Row{KeepTest::lacks, R"("latest")", true},
        Row{KeepTest::lacks, R"([["lat"],1,true])", true},
        Row{KeepTest::lists, R"(["lat","lon"])", true}, Row{KeepTest::lists, R"("lat,lon")", true},
        Row{KeepTest::lists, R"([])", false}, Row{KeepTest::lists, R"(null)", false},
        Row{KeepTest::lists, R"(true)", false}, Row{KeepTest::absent, R"(null)", true},
        Row{KeepTest::absent, R"("")", true}, Row{KeepTest::absent, R"("x")", false},
        Row{KeepTest::absent, R"(["lat"])", false}}) {
    config::Layout layout = pointers("/id", "/lat", "/lon");
    layout.keep = {{at("/made"), {"lat"}, row.test}};
    LayoutReader reader(layout);
    const auto report = reader.read(
        std::string(R"({"id":"4b1617","lat":52.5,"lon":19.5,"made":)") + row.flags + "}", 0);
    EXPECT_EQ(report.has_value(), row.is_kept) << static_cast<int>(row.test) << " " << row.flags;
  }
}

TEST(Keep, TellsWordsInColumns) {
  config::Layout layout = columns(1, 2, 3);
  layout.keep = {{at(4), {"far"}, config::KeepTest::lacks}};
  LayoutReader reader(layout);
  EXPECT_TRUE(reader.read("4b1617,52.5,19.5,near new", 0));
  EXPECT_TRUE(reader.read("4b1617,52.5,19.5", 0));
  EXPECT_FALSE(reader.read("4b1617,52.5,19.5,near far", 0));
}

TEST(DecimalComma, IsReadWhereTheLayoutSaysSo) {
  config::Layout layout = columns(1, 2, 3, ';');
  layout.altitude = at(4);
  layout.decimal_comma = true;
  LayoutReader reader(layout);
  const auto report = reader.read("4b1617;52,3125;-0,5;36000", 0);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->latitude_deg, 52.3125);
  EXPECT_EQ(report->longitude_deg, -0.5);
  EXPECT_EQ(report->altitude_ft, 36000);
  // Either is no decimal comma: a point may stand for thousands.
  EXPECT_EQ(reader.read("4b1617;52,3;19,5;36.000", 0).error(), Reject::malformed);
  EXPECT_EQ(reader.read("4b1617;52,3,1;19,5;36000", 0).error(), Reject::malformed);
}

std::optional<double> time_of(const config::Layout& layout, const std::string& times) {
  LayoutReader reader(layout);
  const auto report = reader.read("4b1617,52.5,19.5," + times, 0);
  return report ? report->time_s : std::nullopt;
}

config::Layout dated(const std::string& zone) {
  config::Layout layout = columns(1, 2, 3);
  layout.date = at(4);
  layout.time = at(5);
  layout.zone = zone;
  return layout;
}

TEST(DateAndTime, AreJoined) {
  const double expected = *parse_time("2026-03-01T12:30:15.25Z");
  for (const char* times : {"2026-03-01,12:30:15.25", "2026/03/01,12:30:15.25",
                            "01.03.2026,12:30:15.25", "2026.03.01, 12:30:15.25"})
    EXPECT_EQ(time_of(dated("UTC"), times), expected) << times;
  EXPECT_EQ(time_of(dated("Europe/Vienna"), "2026-03-01,13:30:15.25"), expected);
  EXPECT_EQ(time_of(dated("Europe/Vienna"), "2026-03-01,12:30:15.25Z"), expected)
      << "an offset of its own counts";
  for (const char* times : {"03/01/2026,12:30:15", "2026-02-30,12:30:15", "2026-03-01,noon",
                            "2026-03-01,25:00:00", "today,12:30:15", ",12:30:15Z"})
    EXPECT_EQ(time_of(dated("UTC"), times), std::nullopt) << times;
}

TEST(LocalTime, IsReadInItsZone) {
  config::Layout layout = columns(1, 2, 3);
  layout.time = at(4);
  layout.zone = "Europe/Vienna";
  EXPECT_EQ(time_of(layout, "2026-07-01 14:00:00.5"), *parse_time("2026-07-01T12:00:00.5Z"));
  EXPECT_EQ(time_of(layout, "2026-07-01T14:00:00+01:00"), *parse_time("2026-07-01T13:00:00Z"));
  EXPECT_EQ(time_of(layout, "1764000000"), 1764000000);
}

TEST(LocalTime, RunsOnThroughTheHourThatIsRepeated) {
  // Clocks were put back from 03:00 to 02:00 on 2026-10-25, at 01:00 UTC.
  LayoutReader reader(dated("Europe/Vienna"));
  const auto time_s = [&](const std::string& clock) {
    return reader.read("4b1617,52.5,19.5,2026-10-25," + clock, 0)->time_s;
  };
  EXPECT_EQ(time_s("02:30:00"), *parse_time("2026-10-25T00:30:00Z"));
  EXPECT_EQ(time_s("02:59:59"), *parse_time("2026-10-25T00:59:59Z"));
  EXPECT_EQ(time_s("02:00:00"), *parse_time("2026-10-25T01:00:00Z"));
  EXPECT_EQ(time_s("02:30:00"), *parse_time("2026-10-25T01:30:00Z"));
  EXPECT_EQ(time_s("02:59:59"), *parse_time("2026-10-25T01:59:59Z"));
  EXPECT_EQ(time_s("03:00:00"), *parse_time("2026-10-25T02:00:00Z"));
  EXPECT_FALSE(reader.another()) << "lines must be read in order for this";
}

TEST(Age, IsSubtractedFromTheTimeOrTheArrival) {
  config::Layout layout = pointers("/id", "/lat", "/lon");
  layout.age = at("/since");
  const std::string line = R"({"id":"4b1617","lat":52.5,"lon":19.5,"t":1764000000,"since":2.5})";
  LayoutReader untimed(layout);
  Intake intake;
  intake.add(untimed, line, 1764000100);
  ASSERT_EQ(intake.reports.size(), 1u);
  EXPECT_FALSE(intake.reports[0].report.time_s);
  EXPECT_EQ(intake.reports[0].arrival_s, 1764000097.5);

  layout.time = at("/t");
  LayoutReader timed(layout);
  intake.add(timed, line, 1764000100);
  EXPECT_EQ(intake.reports[1].report.time_s, 1763999997.5);
  EXPECT_EQ(intake.reports[1].arrival_s, 1764000097.5) << "or the feed's clock would look late";
}

TEST(Altitude, OfGroundIsUnderstood) {
  config::Layout layout = columns(1, 2, 3);
  layout.altitude = at(4);
  LayoutReader reader(layout);
  for (const char* word : {"ground", "GND", "Surface"}) {
    const auto report = reader.read(std::string("4b1617,52.5,19.5,") + word, 0);
    ASSERT_TRUE(report) << word;
    EXPECT_TRUE(report->on_ground) << word;
    EXPECT_FALSE(report->altitude_ft) << word;
  }
  EXPECT_FALSE(reader.read("4b1617,52.5,19.5,36000", 0)->on_ground);
  EXPECT_EQ(reader.read("4b1617,52.5,19.5,high", 0).error(), Reject::malformed);
}

}  // namespace
}  // namespace roundel::feed
