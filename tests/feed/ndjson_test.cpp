#include "daemon/feed/ndjson.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>

#include "daemon/feed/ndjson_flat.h"
#include "roundel/feed/layout_reader.h"
#include "tests/feed/layouts.h"

namespace roundel::feed {
namespace {

constexpr double arrival_s = 1764000000;

// The line of the interface description.
const std::string plain_line =
    R"({"time":1764000000.125,"address":"4b1617","latitude":52.31245,"longitude":19.81245,)"
    R"("altitude_ft":36000,"signal_dbfs":-21.3})";

void expect_plain_report(const tl::expected<Report, Reject>& report, const std::string& name) {
  ASSERT_TRUE(report) << name << ": " << name_of(report.error());
  EXPECT_EQ(report->time_s, 1764000000.125) << name;
  EXPECT_EQ(report->address, 0x4b1617u) << name;
  EXPECT_EQ(report->latitude_deg, 52.31245) << name;
  EXPECT_EQ(report->longitude_deg, 19.81245) << name;
  EXPECT_EQ(report->altitude_ft, 36000) << name;
  EXPECT_EQ(report->signal_dbfs, -21.3) << name;
  EXPECT_FALSE(report->on_ground) << name;
}

TEST(Ndjson, ReadsThePublishedLayout) {
  LayoutReader reader(config::default_ndjson());
  expect_plain_report(reader.read(plain_line, arrival_s), "as published");
}

TEST(Ndjson, ReadsTheSameReportHoweverItIsWritten) {
  struct Row {
    const char* name;
    const char* line;
  };
  const Row rows[] = {
      {"another order of keys",
       R"({"signal_dbfs":-21.3,"longitude":19.81245,"latitude":52.31245,"altitude_ft":36000,)"
       R"("address":"4b1617","time":1764000000.125})"},
      {"blanks between",
       "{ \"time\" : 1764000000.125 ,\t\"address\":\"4b1617\", \"latitude\":52.31245, "
       "\"longitude\": 19.81245, \"altitude_ft\":36000, \"signal_dbfs\":-21.3 }"},
      {"more keys, of every type",
       R"({"a":null,"add":"x","b":true,"c":false,"time":1764000000.125,"address":"4b1617",)"
       R"("latitude":52.31245,"d":{"latitude":1},"e":[1,[2]],"longitude":19.81245,"timer":7,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3,"lat":3})"},
      {"exponents", R"({"time":1.764000000125e9,"address":"4b1617","latitude":5231245e-5,)"
                    R"("longitude":1.981245E+1,"altitude_ft":3.6e4,"signal_dbfs":-213e-1})"},
      {"escapes in keys and values",
       R"({"t\u0069me":1764000000.125,"address":"4\u00621617","latitude":52.31245,)"
       R"("longitude":19.81245,"altitude_ft":36000,"signal_dbfs":-21.3,"note":"a\"b\\\/\n"})"},
      {"numbers as text",
       R"({"time":"1764000000.125","address":"4b1617","latitude":"52.31245",)"
       R"("longitude":" 19.81245","altitude_ft":"36000 ","signal_dbfs":"-21.3"})"},
      {"address in capitals and 0x",
       R"({"time":1764000000.125,"address":"0x4B1617","latitude":52.31245,"longitude":19.81245,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3})"},
      {"address as a number",
       R"({"time":1764000000.125,"address":4920855,"latitude":52.31245,"longitude":19.81245,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3})"},
      {"time in milliseconds",
       R"({"time":1764000000125,"address":"4b1617","latitude":52.31245,"longitude":19.81245,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3})"},
      {"time as RFC 3339",
       R"({"time":"2025-11-24T16:00:00.125Z","address":"4b1617","latitude":52.31245,)"
       R"("longitude":19.81245,"altitude_ft":36000,"signal_dbfs":-21.3})"},
      {"beyond ASCII elsewhere",
       "{\"time\":1764000000.125,\"address\":\"4b1617\",\"latitude\":52.31245,"
       "\"longitude\":19.81245,\"altitude_ft\":36000,\"signal_dbfs\":-21.3,\"place\":"
       "\"H\xC3\xBCgel\"}"},
      {"the first of repeated keys counts",
       R"({"time":1764000000.125,"address":"4b1617","latitude":52.31245,"longitude":19.81245,)"
       R"("altitude_ft":36000,"signal_dbfs":-21.3,"latitude":1,"signal_dbfs":null})"},
      {"a byte order mark before it",
       "\xEF\xBB\xBF{\"time\":1764000000.125,\"address\":\"4b1617\",\"latitude\":52.31245,"
       "\"longitude\":19.81245,\"altitude_ft\":36000,\"signal_dbfs\":-21.3}"},
  };
  for (const Row& row : rows) {
    LayoutReader reader(config::default_ndjson());
    expect_plain_report(reader.read(row.line, arrival_s), row.name);
  }
}

TEST(Ndjson, SaysWhyALineIsNoReport) {
  struct Row {
    const char* name;
    std::string line;
    Reject expected;
  };
  const Row rows[] = {
      {"no JSON", "hello", Reject::malformed},
      {"a scalar", "17", Reject::malformed},
      {"nothing but blanks", "  ", Reject::malformed},
      {"two values", R"({"latitude":1}{"latitude":1})", Reject::malformed},
      {"a control character", "{\"latitude\":\"1\x01\"}", Reject::malformed},
      {"bad UTF-8", "{\"latitude\":\"\xFF\"}", Reject::malformed},
      {"a number with a leading zero", R"({"latitude":052.1,"longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"NaN", R"({"latitude":NaN,"longitude":1,"address":"4b1617"})", Reject::malformed},
      {"a text that isn't finite", R"({"latitude":"inf","longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"too large for a double", R"({"latitude":1e999,"longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"latitude is no number", R"({"latitude":"north","longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"latitude is an array", R"({"latitude":[1],"longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"latitude is true", R"({"latitude":true,"longitude":1,"address":"4b1617"})",
       Reject::malformed},
      {"altitude is no number",
       R"({"latitude":1,"longitude":1,"address":"4b1617","altitude_ft":"high"})",
       Reject::malformed},
      {"time is no time", R"({"latitude":1,"longitude":1,"address":"4b1617","time":"noon"})",
       Reject::malformed},
      {"time beyond the year 9999",
       R"({"latitude":1,"longitude":1,"address":"4b1617","time":1e18})", Reject::malformed},
      {"no position", R"({"address":"4b1617","altitude_ft":36000})", Reject::not_position},
      {"half a position", R"({"address":"4b1617","latitude":1})", Reject::not_position},
      {"position is null", R"({"address":"4b1617","latitude":null,"longitude":null})",
       Reject::not_position},
      {"position is blank", R"({"address":"4b1617","latitude":"","longitude":" "})",
       Reject::not_position},
      {"an empty object", "{}", Reject::not_position},
      {"an array", "[1,2,3]", Reject::not_position},
      {"no address", R"({"latitude":1,"longitude":1})", Reject::bad_address},
      {"address not hex", R"({"latitude":1,"longitude":1,"address":"4b16g7"})",
       Reject::bad_address},
      {"address too large", R"({"latitude":1,"longitude":1,"address":"14b1617"})",
       Reject::bad_address},
      {"address 000000", R"({"latitude":1,"longitude":1,"address":"000000"})", Reject::bad_address},
      {"address ffffff", R"({"latitude":1,"longitude":1,"address":"FFFFFF"})", Reject::bad_address},
      {"address marked as none of ICAO's", R"({"latitude":1,"longitude":1,"address":"!4b1617"})",
       Reject::bad_address},
      {"address not whole", R"({"latitude":1,"longitude":1,"address":17.5})", Reject::bad_address},
      {"address negative", R"({"latitude":1,"longitude":1,"address":-17})", Reject::bad_address},
      {"address is 0x alone", R"({"latitude":1,"longitude":1,"address":"0x"})",
       Reject::bad_address},
  };
  for (const Row& row : rows) {
    LayoutReader reader(config::default_ndjson());
    const auto report = reader.read(row.line, arrival_s);
    ASSERT_FALSE(report) << row.name;
    EXPECT_EQ(name_of(report.error()), name_of(row.expected)) << row.name;
  }
}

TEST(Ndjson, LeavesRangesToTheRecorder) {
  LayoutReader reader(config::default_ndjson());
  const auto report = reader.read(
      R"({"latitude":-91.5,"longitude":720,"address":"4b1617","altitude_ft":-99999})", arrival_s);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->latitude_deg, -91.5);
  EXPECT_EQ(report->longitude_deg, 720);
  EXPECT_EQ(report->altitude_ft, -99999);
  EXPECT_EQ(report->time_s, std::nullopt);
  EXPECT_EQ(report->signal_dbfs, std::nullopt);
}

TEST(Ndjson, ALineCutAnywhereIsNeverAReport) {
  for (std::size_t cut = 0; cut < plain_line.size(); ++cut) {
    LayoutReader reader(config::default_ndjson());
    const auto head = reader.read(plain_line.substr(0, cut), arrival_s);
    ASSERT_FALSE(head) << cut;
    EXPECT_EQ(head.error(), Reject::malformed) << cut;
    if (cut == 0) continue;
    const auto tail = reader.read(plain_line.substr(cut), arrival_s);
    ASSERT_FALSE(tail) << cut;
    EXPECT_EQ(tail.error(), Reject::malformed) << cut;
  }
}

TEST(Ndjson, ReadsALineLongerThanTheFramersLimit) {
  LayoutReader reader(config::default_ndjson());
  const std::string padding(100000, 'x');
  expect_plain_report(
      reader.read(R"({"note":")" + padding + R"(\n",)" + plain_line.substr(1), arrival_s), "long");
}

TEST(Ndjson, PointersReachIntoObjectsAndArrays) {
  config::Layout layout = pointers("/aircraft/id", "/fix/position/1", "/fix/position/0");
  layout.altitude = at("/fix/levels/0/m");
  layout.altitude_unit = config::AltitudeUnit::m;
  layout.on_ground = at("/fix/flags/ground");
  LayoutReader reader(layout);
  const auto report = reader.read(
      R"({"aircraft":{"id":"4b1617"},"fix":{"position":[19.5,52.5],"levels":[{"m":3048}],)"
      R"("flags":{"ground":true}}})",
      arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->latitude_deg, 52.5);
  EXPECT_EQ(report->longitude_deg, 19.5);
  ASSERT_TRUE(report->altitude_ft);
  EXPECT_NEAR(*report->altitude_ft, 10000, 1e-9) << "international foot: 0.3048 m exactly";
  EXPECT_TRUE(report->on_ground);
}

TEST(Ndjson, ALineMayBeAnArray) {
  LayoutReader reader(pointers("/0", "/1", "/2"));
  const auto report = reader.read(R"(["4b1617",52.5,19.5])", arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->longitude_deg, 19.5);
}

// RFC 6901, section 5: this document, and what each of these pointers evaluates to.
TEST(Ndjson, PointersAreThoseOfTheStandard) {
  const std::string document =
      R"({"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,)"
      R"("m~n":8})";
  struct Row {
    const char* pointer;
    double expected;
  };
  for (const Row& row :
       {Row{"/", 0}, Row{"/a~1b", 1}, Row{"/c%d", 2}, Row{"/e^f", 3}, Row{"/g|h", 4},
        Row{"/i\\j", 5}, Row{"/k\"l", 6}, Row{"/ ", 7}, Row{"/m~0n", 8}}) {
    NdjsonExtractor extractor(pointers("/foo/0", row.pointer, "/foo"));
    std::vector<FieldValue> values(n_fields);
    ASSERT_TRUE(extractor.extract(document, values));
    EXPECT_EQ(values[address_field].text, "bar");
    ASSERT_EQ(values[latitude_field].kind, FieldValue::Kind::number) << row.pointer;
    EXPECT_EQ(values[latitude_field].number, row.expected) << row.pointer;
    EXPECT_EQ(values[longitude_field].kind, FieldValue::Kind::other);
  }
}

TEST(Ndjson, EscapesInPointersAreUndoneOnce) {
  // RFC 6901, section 4: "~01" becomes "~1", never "/".
  NdjsonExtractor extractor(pointers("/a~01b", "/x", "/y"));
  std::vector<FieldValue> values(n_fields);
  ASSERT_TRUE(extractor.extract(R"({"a/b":"wrong","a~1b":"right"})", values));
  EXPECT_EQ(values[address_field].text, "right");
}

TEST(Ndjson, KeepLooksAtTextNumberAndFlag) {
  config::Layout layout = config::default_ndjson();
  layout.keep = {{at("/kind"), {"position", "3"}}, {at("/live"), {"true"}}};
  struct Row {
    const char* name;
    const char* keys;
    bool kept;
  };
  for (const Row& row :
       {Row{"text", R"("kind":"position","live":true)", true},
        Row{"number", R"("kind":3,"live":true)", true},
        Row{"the same number", R"("kind":3.0,"live":"true")", true},
        Row{"another text", R"("kind":"status","live":true)", false},
        Row{"another number", R"("kind":4,"live":true)", false},
        Row{"another flag", R"("kind":3,"live":false)", false},
        Row{"not there", R"("kind":3)", false}, Row{"null", R"("kind":null,"live":true)", false}}) {
    LayoutReader reader(layout);
    const auto report =
        reader.read("{" + std::string(row.keys) + "," + plain_line.substr(1), arrival_s);
    if (row.kept)
      expect_plain_report(report, row.name);
    else
      EXPECT_EQ(report, tl::unexpected(Reject::not_position)) << row.name;
  }
}

TEST(Ndjson, MissingTextsStandForNoValue) {
  config::Layout layout = config::default_ndjson();
  layout.missing = {"n/a", "-9999"};
  LayoutReader reader(layout);
  const auto report = reader.read(
      R"({"address":"4b1617","latitude":1,"longitude":2,"altitude_ft":"n/a","signal_dbfs":-9999})",
      arrival_s);
  ASSERT_TRUE(report) << name_of(report.error());
  EXPECT_EQ(report->altitude_ft, std::nullopt);
  EXPECT_EQ(report->signal_dbfs, std::nullopt);
  EXPECT_EQ(reader.read(R"({"address":"4b1617","latitude":-9999.0,"longitude":2})", arrival_s),
            tl::unexpected(Reject::not_position));
}

TEST(Ndjson, TimeUnitIsObeyed) {
  config::Layout layout = config::default_ndjson();
  const auto time_of = [&](config::TimeUnit unit, const std::string& time) {
    layout.time_unit = unit;
    LayoutReader reader(layout);
    const auto report = reader.read(
        R"({"address":"4b1617","latitude":1,"longitude":2,"time":)" + time + "}", arrival_s);
    return report ? report->time_s : std::nullopt;
  };
  using config::TimeUnit;
  EXPECT_EQ(time_of(TimeUnit::milliseconds, "5000"), 5);
  EXPECT_EQ(time_of(TimeUnit::seconds, "5000"), 5000);
  EXPECT_EQ(time_of(TimeUnit::automatic, "5000"), 5000);
  EXPECT_EQ(time_of(TimeUnit::automatic, "1764000000500"), 1764000000.5);
  EXPECT_EQ(time_of(TimeUnit::seconds, "1764000000500"), std::nullopt) << "the year 57869";
}

// The quick path and the general one on the same line: where the quick one answers, both agree.
void expect_agreement(FlatNdjsonExtractor& flat, NdjsonExtractor& general, const std::string& line,
                      int& n_quick) {
  std::vector<FieldValue> quick(n_fields), full(n_fields);
  if (!flat.extract(line, quick)) return;
  ++n_quick;
  ASSERT_TRUE(general.extract(line, full)) << line;
  for (std::size_t i = 0; i < n_fields; ++i) {
    ASSERT_EQ(quick[i].kind, full[i].kind) << line;
    ASSERT_EQ(quick[i].number, full[i].number) << line;
    ASSERT_EQ(quick[i].truth, full[i].truth) << line;
    ASSERT_EQ(quick[i].text, full[i].text) << line;
  }
}

TEST(NdjsonFlat, AgreesWithTheGeneralPathOnDamagedLines) {
  FlatNdjsonExtractor flat(config::default_ndjson());
  ASSERT_TRUE(flat.usable());
  NdjsonExtractor general(config::default_ndjson());
  std::mt19937 random(6901);
  const std::string pieces[] = {"{",
                                "}",
                                "[",
                                "]",
                                ",",
                                ":",
                                "\"",
                                "\\",
                                "-",
                                ".",
                                "0",
                                "1e5",
                                "null",
                                "true",
                                "false",
                                " ",
                                "\t",
                                "\n",
                                "\"latitude\":",
                                "9999999",
                                "\x80",
                                "\"time\":0,",
                                "{}",
                                "\"a\":\"b\","};
  int n_quick = 0;
  for (int i = 0; i < 100000; ++i) {
    std::string line = plain_line;
    for (auto n = random() % 3; n-- > 0;) {
      const std::size_t where = random() % (line.size() + 1);
      const std::string& piece = pieces[random() % std::size(pieces)];
      if (random() % 2 != 0)
        line.insert(where, piece);
      else
        line.erase(where, random() % 6);
    }
    ASSERT_NO_FATAL_FAILURE(expect_agreement(flat, general, line, n_quick));
  }
  EXPECT_GT(n_quick, 30000) << "one in three is left undamaged";
}

// It remembers how the members of earlier lines began: that must never change what a line says.
TEST(NdjsonFlat, AgreesWhateverLinesCameBefore) {
  FlatNdjsonExtractor flat(config::default_ndjson());
  NdjsonExtractor general(config::default_ndjson());
  std::mt19937 random(8259);
  std::vector<std::string> members{R"("time":1764000000.125)", R"("address":"4b1617")",
                                   R"("latitude":52.31245)",   R"("longitude":19.81245)",
                                   R"("altitude_ft":36000)",   R"("signal_dbfs":-21.3)"};
  // More than it remembers, some too long for that, some that begin like another.
  for (int i = 0; i < 100; ++i)
    members.push_back("\"more_" + std::string(static_cast<std::size_t>(i), 'x') +
                      "\":" + std::to_string(i));
  for (const char* like : {R"("times":1)", R"("latitude" : 7)", R"( "latitude":8)", R"("lat":9)",
                           R"("latitude":null)", R"("altitude_ft":"x")"})
    members.push_back(like);
  int n_quick = 0;
  for (int i = 0; i < 20000; ++i) {
    // Mostly the usual six; now and then others among them, in another order.
    std::vector<std::string> chosen(members.begin(), members.begin() + 6);
    for (auto n = random() % 4; n-- > 0;) {
      const auto where = static_cast<std::ptrdiff_t>(random() % (chosen.size() + 1));
      chosen.insert(chosen.begin() + where, members[random() % members.size()]);
    }
    if (random() % 5 == 0) std::shuffle(chosen.begin(), chosen.end(), random);
    std::string line;
    for (const std::string& member : chosen) line += (line.empty() ? "{" : ",") + member;
    ASSERT_NO_FATAL_FAILURE(expect_agreement(flat, general, line + "}", n_quick));
  }
  EXPECT_EQ(n_quick, 20000);
}

TEST(NdjsonFlat, TakesThePublishedLayoutAndLeavesTheRest) {
  FlatNdjsonExtractor flat(config::default_ndjson());
  std::vector<FieldValue> values(n_fields);
  EXPECT_TRUE(flat.extract(plain_line, values));
  EXPECT_EQ(values[latitude_field].number, 52.31245);
  EXPECT_EQ(values[on_ground_field].kind, FieldValue::Kind::absent);
  EXPECT_FALSE(flat.extract(R"({"a":[1]})", values));
  EXPECT_FALSE(flat.extract(plain_line + " ", values));
  EXPECT_FALSE(FlatNdjsonExtractor(pointers("/a/b", "/c", "/d")).usable());
  EXPECT_FALSE(FlatNdjsonExtractor(pointers("/a~1b", "/c", "/d")).usable());
}

TEST(NdjsonFlat, OneKeyMayServeTwice) {
  config::Layout layout = config::default_ndjson();
  layout.on_ground = at("/ground");
  layout.keep = {{at("/ground"), {"false"}}};
  LayoutReader reader(layout);
  const auto report = reader.read(R"({"ground":false,)" + plain_line.substr(1), arrival_s);
  expect_plain_report(report, "not on the ground");
  EXPECT_EQ(reader.read(R"({"ground":true,)" + plain_line.substr(1), arrival_s),
            tl::unexpected(Reject::not_position));
}

}  // namespace
}  // namespace roundel::feed
