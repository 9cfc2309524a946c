#include "daemon/feed/columns.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/feed/assemble.h"
#include "roundel/feed/layout_reader.h"
#include "tests/feed/layouts.h"

namespace roundel::feed {
namespace {

constexpr double arrival_s = 1764000000;

TEST(SplitColumns, FollowsTheStandard) {
  struct Row {
    const char* source;
    std::string line;
    std::vector<std::string> fields;
  };
  const Row rows[] = {
      {"RFC 4180, 2.1", "aaa,bbb,ccc", {"aaa", "bbb", "ccc"}},
      {"RFC 4180, 2.3 header",
       "field_name,field_name,field_name",
       {"field_name", "field_name", "field_name"}},
      {"RFC 4180, 2.5", R"("aaa","bbb","ccc")", {"aaa", "bbb", "ccc"}},
      {"RFC 4180, 2.5, some quoted", R"(zzz,"yyy",xxx)", {"zzz", "yyy", "xxx"}},
      {"RFC 4180, 2.6, comma within", R"("aaa","b,bb","ccc")", {"aaa", "b,bb", "ccc"}},
      {"RFC 4180, 2.7", R"("aaa","b""bb","ccc")", {"aaa", "b\"bb", "ccc"}},
      {"RFC 4180, 2.4: spaces are part of a field", " aaa, bbb ", {" aaa", " bbb "}},
      {"RFC 4180 grammar: a field may be empty", "aaa,,ccc,", {"aaa", "", "ccc", ""}},
      {"RFC 4180 grammar: also quoted", R"("",aaa,"")", {"", "aaa", ""}},
      {"only quotes", R"("""",aaa)", {"\"", "aaa"}},
      {"no source: a quote within is a character", R"(5'11",a"b)", {"5'11\"", "a\"b"}},
      {"no source: an empty line is one empty field", "", {""}},
  };
  for (const Row& row : rows) {
    std::vector<std::string> fields;
    EXPECT_TRUE(split_columns(row.line, ',', fields)) << row.source;
    EXPECT_EQ(fields, row.fields) << row.source;
  }
}

TEST(SplitColumns, NoticesBrokenQuoting) {
  std::vector<std::string> fields;
  for (const char* line : {R"(aaa,"bbb)", R"(")", R"("aaa"b,ccc)", R"("aaa"")", R"(a,"b" ,c)"})
    EXPECT_FALSE(split_columns(line, ',', fields)) << line;
}

struct DelimiterRow {
  const char* name;
  char delimiter;
};
constexpr DelimiterRow delimiters[] = {
    {"comma", ','}, {"semicolon", ';'}, {"tab", '\t'}, {"pipe", '|'}, {"space", ' '}};

// time, kind, address, altitude, latitude, longitude, signal
std::string plain_line(char delimiter) {
  std::string line = "1764000000.125,P,4b1617,36000,52.31245,19.81245,-21.3";
  for (char& c : line)
    if (c == ',') c = delimiter;
  return line;
}

config::Layout full_layout(char delimiter) {
  config::Layout layout = columns(3, 5, 6, delimiter);
  layout.time = at(1);
  layout.altitude = at(4);
  layout.signal = at(7);
  layout.keep = {{at(2), {"P", "Q"}}};
  return layout;
}

TEST(Columns, ReadsAnyDelimiter) {
  for (const DelimiterRow& row : delimiters) {
    LayoutReader reader(full_layout(row.delimiter));
    const auto report = reader.read(plain_line(row.delimiter), arrival_s);
    ASSERT_TRUE(report) << row.name << ": " << name_of(report.error());
    EXPECT_EQ(report->time_s, 1764000000.125) << row.name;
    EXPECT_EQ(report->address, 0x4b1617u) << row.name;
    EXPECT_EQ(report->latitude_deg, 52.31245) << row.name;
    EXPECT_EQ(report->longitude_deg, 19.81245) << row.name;
    EXPECT_EQ(report->altitude_ft, 36000) << row.name;
    EXPECT_EQ(report->signal_dbfs, -21.3) << row.name;
  }
}

TEST(Columns, ALineCutBeforeItsPositionIsNoReport) {
  const std::string line = plain_line(',');
  const std::size_t position = line.find("52.31245");
  const std::size_t longitude = line.find("19.81245");
  for (std::size_t cut = 0; cut <= longitude; ++cut) {
    LayoutReader reader(full_layout(','));
    EXPECT_EQ(reader.read(line.substr(0, cut), arrival_s), tl::unexpected(Reject::not_position))
        << cut << " of " << position;
  }
}

TEST(Columns, SaysWhyALineIsNoReport) {
  struct Row {
    const char* name;
    const char* line;
    Reject expected;
  };
  for (const Row& row :
       {Row{"of another kind", "1764000000,S,4b1617,36000,52.3,19.8,-21", Reject::not_position},
        Row{"kind in lower case", "1764000000,p,4b1617,36000,52.3,19.8,-21", Reject::not_position},
        Row{"too few columns", "1764000000,P,4b1617,36000", Reject::not_position},
        Row{"position blank", "1764000000,P,4b1617,36000,, ,-21", Reject::not_position},
        Row{"broken quoting", "\"1764000000,P,4b1617,36000,52.3,19.8,-21", Reject::malformed},
        Row{"latitude is text", "1764000000,P,4b1617,36000,north,19.8,-21", Reject::malformed},
        Row{"latitude isn't finite", "1764000000,P,4b1617,36000,nan,19.8,-21", Reject::malformed},
        Row{"a unit after a number", "1764000000,P,4b1617,36000 ft,52.3,19.8,-21",
            Reject::malformed},
        Row{"signal is text", "1764000000,P,4b1617,36000,52.3,19.8,strong", Reject::malformed},
        Row{"address blank", "1764000000,P,,36000,52.3,19.8,-21", Reject::bad_address},
        Row{"address not hex", "1764000000,P,xyzxyz,36000,52.3,19.8,-21", Reject::bad_address}}) {
    LayoutReader reader(full_layout(','));
    EXPECT_EQ(reader.read(row.line, arrival_s), tl::unexpected(row.expected)) << row.name;
  }
}

TEST(Columns, BlanksAroundValuesDontCount) {
  LayoutReader reader(full_layout(';'));
  const auto report =
      reader.read("1764000000.125 ; P ; 4b1617;  36000;\"52.31245\"; 19.81245;\t-21.3 ", arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->latitude_deg, 52.31245);
  EXPECT_EQ(report->altitude_ft, 36000);
}

TEST(Columns, QuotedAndDelimiterWithin) {
  LayoutReader reader(columns(2, 3, 4));
  const auto report = reader.read(R"("Hill, ""old"" house","4b1617","52.5","19.5")", arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->address, 0x4b1617u);
  EXPECT_EQ(report->longitude_deg, 19.5);
}

config::Layout named_layout() {
  config::Layout layout = columns(1, 1, 1);
  layout.header = true;
  layout.address = at("aircraft");
  layout.latitude = at("lat");
  layout.longitude = at("lon");
  layout.altitude = at("height");
  layout.altitude_unit = config::AltitudeUnit::m;
  return layout;
}

TEST(Columns, HeaderNamesTellWhereFieldsStand) {
  LayoutReader reader(named_layout());
  EXPECT_EQ(reader.read("lon, lat,\"height\",aircraft", arrival_s),
            tl::unexpected(Reject::not_position));
  EXPECT_EQ(reader.trouble(), "");
  const auto report = reader.read("19.5,52.5,3048,4b1617", arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->latitude_deg, 52.5);
  ASSERT_TRUE(report->altitude_ft);
  EXPECT_NEAR(*report->altitude_ft, 10000, 1e-9) << "international foot: 0.3048 m exactly";
  EXPECT_EQ(reader.read("lon, lat,\"height\",aircraft", arrival_s),
            tl::unexpected(Reject::not_position))
      << "the header again, as in files that were joined";
}

TEST(Columns, AByteOrderMarkIsNoPartOfTheFirstName) {
  LayoutReader reader(named_layout());
  (void)reader.read("\xEF\xBB\xBFlon,lat,height,aircraft", arrival_s);
  EXPECT_EQ(reader.trouble(), "");
  EXPECT_TRUE(reader.read("19.5,52.5,3048,4b1617", arrival_s));
}

TEST(Columns, ANameThatTheHeaderLacksIsTrouble) {
  LayoutReader reader(named_layout());
  EXPECT_EQ(reader.read("lon,latitude,height,aircraft", arrival_s),
            tl::unexpected(Reject::not_position));
  EXPECT_EQ(reader.trouble(), "the header has no column \"lat\"");
  EXPECT_EQ(reader.read("19.5,52.5,3048,4b1617", arrival_s), tl::unexpected(Reject::malformed));
}

TEST(Columns, MissingTextsStandForNoValue) {
  config::Layout layout = full_layout(',');
  layout.missing = {"-", "-9999"};
  LayoutReader reader(layout);
  const auto report = reader.read("-,P,4b1617,-9999,52.3,19.8,-", arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->time_s, std::nullopt);
  EXPECT_EQ(report->altitude_ft, std::nullopt);
  EXPECT_EQ(report->signal_dbfs, std::nullopt);
  EXPECT_EQ(reader.read("1,P,4b1617,36000,-,-,-21", arrival_s),
            tl::unexpected(Reject::not_position));
}

TEST(Columns, OnGroundFlagsOfManyKinds) {
  config::Layout layout = columns(1, 2, 3);
  layout.on_ground = at(4);
  LayoutReader reader(layout);
  struct Row {
    const char* text;
    bool on_ground;
  };
  for (const Row& row : {Row{"1", true}, Row{"-1", true}, Row{"TRUE", true}, Row{"t", true},
                         Row{"Yes", true}, Row{"y", true}, Row{"0", false}, Row{"false", false},
                         Row{"F", false}, Row{"no", false}, Row{"N", false}, Row{"", false}}) {
    const auto report = reader.read("4b1617,52.5,19.5," + std::string(row.text), arrival_s);
    ASSERT_TRUE(report) << row.text;
    EXPECT_EQ(report->on_ground, row.on_ground) << row.text;
  }
  EXPECT_EQ(reader.read("4b1617,52.5,19.5,perhaps", arrival_s), tl::unexpected(Reject::malformed));
}

// address, latitude, longitude, altitude, time, on ground
config::Layout carrying(double carry_s) {
  config::Layout layout = columns(1, 2, 3);
  layout.altitude = at(4);
  layout.time = at(5);
  layout.on_ground = at(6);
  layout.carry_s = carry_s;
  return layout;
}

std::optional<double> altitude_of(LayoutReader& reader, const std::string& line,
                                  double at_s = arrival_s) {
  const auto report = reader.read(line, at_s);
  EXPECT_TRUE(report) << line;
  return report ? report->altitude_ft : std::nullopt;
}

TEST(Carry, ALastKnownAltitudeServesForItsTime) {
  LayoutReader reader(carrying(30));
  EXPECT_EQ(reader.read("4b1617,,,36000,1000,", arrival_s), tl::unexpected(Reject::not_position));
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1010,"), 36000);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1030,"), 36000) << "30 s is still in time";
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1030.5,"), std::nullopt);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,990,"), 36000) << "lines out of order";
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,969,"), std::nullopt);
}

TEST(Carry, ANewerAltitudeReplacesTheOld) {
  LayoutReader reader(carrying(30));
  (void)reader.read("4b1617,,,36000,1000,", arrival_s);
  (void)reader.read("4b1617,,,36025,1001,", arrival_s);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1002,"), 36025);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,36050,1003,"), 36050);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1004,"), 36050);
}

TEST(Carry, BelongsToOneAircraft) {
  LayoutReader reader(carrying(30));
  (void)reader.read("4b1617,,,36000,1000,", arrival_s);
  EXPECT_EQ(altitude_of(reader, "4b1618,52.5,19.5,,1001,"), std::nullopt);
}

TEST(Carry, IsOffUnlessAskedFor) {
  LayoutReader reader(carrying(0));
  EXPECT_EQ(reader.read("4b1617,,,36000,1000,", arrival_s), tl::unexpected(Reject::not_position));
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1000,"), std::nullopt);
}

TEST(Carry, TakesTheOnGroundFlagAlong) {
  LayoutReader reader(carrying(30));
  (void)reader.read("4b1617,,,,1000,1", arrival_s);
  EXPECT_TRUE(reader.read("4b1617,52.5,19.5,,1010,", arrival_s)->on_ground);
  EXPECT_FALSE(reader.read("4b1617,52.5,19.5,,1010,0", arrival_s)->on_ground);
  EXPECT_FALSE(reader.read("4b1617,52.5,19.5,,1011,", arrival_s)->on_ground);
  EXPECT_FALSE(reader.read("4b1617,52.5,19.5,,1100,", arrival_s)->on_ground);
}

TEST(Carry, GoesByArrivalWhereNoLineHasATime) {
  LayoutReader reader(carrying(30));
  (void)reader.read("4b1617,,,36000,,", 5000);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,,", 5030), 36000);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,,", 5031), std::nullopt);
}

TEST(Carry, GoesByTheFeedsTimeWhereOnlySomeLinesHaveOne) {
  // A recording of years ago: the altitude line has no time of its own, the others have.
  LayoutReader reader(carrying(30));
  (void)reader.read("4b1618,52.5,19.5,,1000,", arrival_s);
  (void)reader.read("4b1617,,,36000,,", arrival_s);
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1001,"), 36000);
}

TEST(Carry, LinesOfAnotherKindThatCantBeReadAreNoFault) {
  LayoutReader reader(carrying(30));
  for (const char* line : {"zzz,,,36000,1000,", "4b1617,,,high,1000,", "4b1617,,,36000,noon,"})
    EXPECT_EQ(reader.read(line, arrival_s), tl::unexpected(Reject::not_position)) << line;
}

TEST(Carry, LinesKeptOutAreNotReadForIt) {
  config::Layout layout = carrying(30);
  layout.keep = {{at(7), {"P"}}};
  LayoutReader reader(layout);
  EXPECT_EQ(reader.read("4b1617,,,36000,1000,,A", arrival_s), tl::unexpected(Reject::not_position));
  EXPECT_EQ(altitude_of(reader, "4b1617,52.5,19.5,,1001,,P"), std::nullopt);
}

TEST(Carry, MemoryIsBoundedAndTheOldestAreForgotten) {
  Carry carry;
  for (std::uint32_t address = 1; address <= 1000000; ++address) {
    carry.of(address).has_altitude = true;
    (void)carry.of(7);  // heard of again and again
    ASSERT_LE(carry.size(), 2 * Carry::generation_size);
  }
  EXPECT_TRUE(carry.of(7).has_altitude);
  EXPECT_TRUE(carry.of(1000000).has_altitude);
  EXPECT_FALSE(carry.of(8).has_altitude);
}

}  // namespace
}  // namespace roundel::feed
