#include <gmock/gmock.h>

#include "roundel/config/config.h"
#include "tests/config/sample.h"

namespace roundel::config {
namespace {

using testing::ElementsAre;

Layout read(std::string_view body) {
  std::string text(sample.substr(0, sample.find("[layout.lines]")));
  text += "[layout.lines]\n";
  text += body;
  auto config = parse(text, "roundel.toml");
  EXPECT_TRUE(config) << config.error().line();
  return config ? config->feeds.at(0).layout : Layout{};
}

FieldAt column(int number) { return {.column = number, .name = {}}; }
FieldAt named(std::string name) { return {.column = std::nullopt, .name = std::move(name)}; }

TEST(LayoutTable, ReadsEveryKeyOfColumns) {
  const Layout layout = read(R"(kind = "columns"
delimiter = "\t"
address = 3
latitude = 7
longitude = 8
time = 1
time_unit = "ms"
altitude_m = 6
signal_dbfs = 9
on_ground = 10
missing = ["-", "n/a"]
keep = [{ column = 2, equals = "P" }, { column = 4, equals = ["1", "2"] }]
carry_s = 20
)");
  EXPECT_EQ(layout.name, "lines");
  EXPECT_EQ(layout.kind, LayoutKind::columns);
  EXPECT_EQ(layout.delimiter, '\t');
  EXPECT_FALSE(layout.header);
  EXPECT_EQ(layout.address, column(3));
  EXPECT_EQ(layout.latitude, column(7));
  EXPECT_EQ(layout.longitude, column(8));
  EXPECT_EQ(layout.time, column(1));
  EXPECT_EQ(layout.time_unit, TimeUnit::milliseconds);
  EXPECT_EQ(layout.altitude, column(6));
  EXPECT_EQ(layout.altitude_unit, AltitudeUnit::m);
  EXPECT_EQ(layout.signal, column(9));
  EXPECT_EQ(layout.on_ground, column(10));
  EXPECT_THAT(layout.missing, ElementsAre("-", "n/a"));
  EXPECT_THAT(layout.keep, ElementsAre(Keep{column(2), {"P"}}, Keep{column(4), {"1", "2"}}));
  EXPECT_EQ(layout.carry_s, 20);
}

TEST(LayoutTable, NamingAColumnSaysThatThereIsAHeader) {
  const Layout layout =
      read("kind = \"columns\"\naddress = \"code\"\nlatitude = 2\nlongitude = 3\n");
  EXPECT_EQ(layout.address, named("code"));
  EXPECT_TRUE(layout.header);
  const Layout by_keep = read(
      "kind = \"columns\"\naddress = 1\nlatitude = 2\nlongitude = 3\n"
      "keep = [{ name = \"type\", equals = \"P\" }]\n");
  EXPECT_TRUE(by_keep.header);
}

TEST(LayoutTable, ReadsPointers) {
  const Layout layout = read(R"(kind = "ndjson"
address = "/target/code"
latitude = "/position/0"
longitude = "/position/1"
altitude_ft = "/a~1b"
keep = [{ pointer = "/type", equals = "position" }]
)");
  EXPECT_EQ(layout.kind, LayoutKind::ndjson);
  EXPECT_EQ(layout.address, named("/target/code"));
  EXPECT_EQ(layout.latitude, named("/position/0"));
  EXPECT_EQ(layout.altitude, named("/a~1b"));
  EXPECT_EQ(layout.altitude_unit, AltitudeUnit::ft);
  EXPECT_FALSE(layout.time || layout.signal || layout.on_ground);
  EXPECT_THAT(layout.keep, ElementsAre(Keep{named("/type"), {"position"}}));
}

TEST(LayoutTable, ReadsDocumentsOfManyReports) {
  const Layout layout = read(R"(kind = "ndjson"
each = "/seen"
address = "/code"
latitude = "/at/0"
longitude = "/at/1"
time = { outside = "/now" }
age_s = "/since"
keep = [{ pointer = "/made_up", lacks = ["at", "code"] }, { pointer = "/by", absent = true },
        { pointer = "/how", lists = "direct" }]
)");
  EXPECT_EQ(layout.each, "/seen");
  EXPECT_EQ(layout.line_bytes, most_line_bytes);
  EXPECT_EQ(layout.time, (FieldAt{{}, "/now", true}));
  EXPECT_EQ(layout.age, named("/since"));
  EXPECT_THAT(layout.keep, ElementsAre(Keep{named("/made_up"), {"at", "code"}, KeepTest::lacks},
                                       Keep{named("/by"), {}, KeepTest::absent},
                                       Keep{named("/how"), {"direct"}, KeepTest::lists}));
}

TEST(LayoutTable, ReadsPairs) {
  const Layout layout = read(R"(kind = "pairs"
delimiter = "\t"
between = ":"
line_bytes = 9000
decimal = ","
address = "code"
latitude = "north"
longitude = "east"
date = "day"
time = "clock"
zone = "Europe/Vienna"
keep = [{ key = "type", equals = "P" }]
)");
  EXPECT_EQ(layout.kind, LayoutKind::pairs);
  EXPECT_EQ(layout.delimiter, '\t');
  EXPECT_EQ(layout.between, ':');
  EXPECT_EQ(layout.line_bytes, 9000);
  EXPECT_TRUE(layout.decimal_comma);
  EXPECT_EQ(layout.date, named("day"));
  EXPECT_EQ(layout.zone, "Europe/Vienna");
  EXPECT_THAT(layout.keep, ElementsAre(Keep{named("type"), {"P"}}));
}

TEST(LayoutTable, BuiltInLayoutsUseOurFieldNames) {
  const Layout ndjson = default_ndjson();
  EXPECT_EQ(ndjson.address, named("/address"));
  EXPECT_EQ(ndjson.time, named("/time"));
  EXPECT_EQ(ndjson.altitude, named("/altitude_ft"));
  const Layout columns = default_columns();
  EXPECT_TRUE(columns.header);
  EXPECT_EQ(columns.kind, LayoutKind::columns);
  EXPECT_EQ(columns.signal, named("signal_dbfs"));
  const auto config = parse(changed("layout = \"lines\"", "layout = \"columns\""), "roundel.toml");
  ASSERT_TRUE(config) << config.error().line();
  EXPECT_EQ(config->feeds[0].layout, columns);
}

}  // namespace
}  // namespace roundel::config
