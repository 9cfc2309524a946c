// Lines that are documents of many reports, and what is said of lines that can't be read.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/feed/intake.h"
#include "roundel/feed/framer.h"
#include "roundel/feed/layout_reader.h"
#include "tests/feed/layouts.h"

namespace roundel::feed {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

config::Layout document_layout() {
  config::Layout layout = pointers("/code", "/at/0", "/at/1");
  layout.each = "/seen";
  layout.line_bytes = config::most_line_bytes;
  layout.time = config::FieldAt{{}, "/now", true};
  layout.altitude = at("/height");
  return layout;
}

TEST(Documents, EachElementIsAReportWithWhatStandsOutside) {
  LayoutReader reader(document_layout());
  Intake intake;
  intake.add(reader,
             R"({"now":1764000000.5,"seen":[{"code":"4b1617","at":[52.25,19.5],"height":36000},)"
             R"({"code":"4b1618","at":[52.5,19.75],"height":"ground"}],"count":2})",
             1764000001);
  ASSERT_EQ(intake.reports.size(), 2u);
  const Report& first = intake.reports[0].report;
  EXPECT_EQ(first.address, 0x4b1617u);
  EXPECT_EQ(first.latitude_deg, 52.25);
  EXPECT_EQ(first.longitude_deg, 19.5);
  EXPECT_EQ(first.altitude_ft, 36000);
  EXPECT_EQ(first.time_s, 1764000000.5);
  const Report& second = intake.reports[1].report;
  EXPECT_EQ(second.address, 0x4b1618u);
  EXPECT_TRUE(second.on_ground);
  EXPECT_FALSE(second.altitude_ft);
  EXPECT_EQ(second.time_s, 1764000000.5);
}

TEST(Documents, WhatOneElementLacksIsNotTakenFromAnother) {
  LayoutReader reader(document_layout());
  Intake intake;
  intake.add(reader,
             R"({"at":[1,2],"seen":[{"code":"4b1617","at":[52.25,19.5],"height":36000},)"
             R"({"code":"4b1618"},7,{"code":"4b1619","at":[52.5,19.5]}]})",
             1764000001);
  ASSERT_EQ(intake.reports.size(), 2u);
  EXPECT_FALSE(intake.reports[1].report.altitude_ft);
  EXPECT_EQ(intake.n_rejected[static_cast<std::size_t>(Reject::not_position)], 2);
  EXPECT_EQ(intake.n_lines(), 4u);
}

TEST(Documents, ALineWithoutTheArrayIsNoPosition) {
  for (const char* line :
       {R"({"now":1764000000})", R"({"seen":[]})", R"({"seen":{"a":1}})", R"([1,2])"}) {
    LayoutReader reader(document_layout());
    Intake intake;
    intake.add(reader, line, 1764000001);
    EXPECT_EQ(intake.n_rejected[static_cast<std::size_t>(Reject::not_position)], 1) << line;
    EXPECT_EQ(intake.n_lines(), 1u) << line;
    EXPECT_THAT(reader.take_faults(), IsEmpty());
  }
}

TEST(Documents, TheDocumentItselfMayBeTheArrayAndElementsArrays) {
  config::Layout layout = pointers("/0", "/1", "/2");
  layout.each = "";
  LayoutReader reader(layout);
  Intake intake;
  intake.add(reader, R"([["4b1617",52.25,19.5],["4b1618",52.5,19.75]])", 1764000001);
  ASSERT_EQ(intake.reports.size(), 2u);
  EXPECT_EQ(intake.reports[1].report.longitude_deg, 19.75);
}

TEST(Documents, ThatAreLongAreReadUpToTheLimitOfTheLayout) {
  std::string line = R"({"now":1764000000,"seen":[)";
  int n = 0;
  for (; line.size() < 900'000; ++n)
    line += fmt::format(R"({}{{"code":"{:06x}","at":[52.25,19.5]}})", n == 0 ? "" : ",", n + 1);
  line += "]}\n";
  const config::Layout layout = document_layout();
  LineFramer framer(layout.line_bytes), usual;
  LayoutReader reader(layout);
  Intake intake;
  const auto add = [&](std::string_view whole) { intake.add(reader, whole, 1764000001); };
  framer.feed(line, add);
  EXPECT_EQ(intake.reports.size(), static_cast<std::size_t>(n));
  usual.feed(line, add);
  EXPECT_EQ(usual.too_long(), 1u);
}

TEST(Faults, NameFieldAndTextOfTheFirstFewLines) {
  config::Layout layout = columns(1, 2, 3);
  layout.altitude = at(4);
  layout.time = at(5);
  LayoutReader reader(layout);
  (void)reader.read("4b1617,52.3N,19.8,36000,1764000000", 0);
  EXPECT_THAT(reader.take_faults(), ElementsAre("latitude \"52.3N\" is no number"));
  (void)reader.read("4b1617,52.3,19.8,FL360,1764000000", 0);
  (void)reader.read("4b1617,52.3,19.8,36000,2026-03-01T12:00:00", 0);
  (void)reader.read("4b1617,52.3,19.8,36000,noon", 0);
  EXPECT_THAT(reader.take_faults(),
              ElementsAre("altitude \"FL360\" is no number",
                          "time \"2026-03-01T12:00:00\" is no time that can be read: it lacks its "
                          "offset from UTC, so the layout needs a zone"));
}

TEST(Faults, ExplainAddressesThatAreNone) {
  LayoutReader reader(columns(1, 2, 3));
  (void)reader.read("~4b1617,52.3,19.8", 0);
  (void)reader.read("LOT123,52.3,19.8", 0);
  (void)reader.read(",52.3,19.8", 0);
  EXPECT_THAT(
      reader.take_faults(),
      ElementsAre("address \"~4b1617\" is no 24-bit address: the sign before it marks one that was "
                  "made up on the ground, and an antenna is not to be judged by it",
                  "address \"LOT123\" is no 24-bit address in hexadecimal", "there is no address"));
}

TEST(Faults, OfJsonSayWhyALineIsNoDocument) {
  struct Row {
    const char* line;
    const char* fault;
  };
  for (const Row& row :
       {Row{"{",
            "the JSON document goes on over several lines, or is cut off: each needs a line of "
            "its own"},
        Row{"  \"lat\": 52.1,", "the line is no JSON object or array, nor the beginning of one"},
        Row{R"({"a":"}{"}{"a":2})",
            "several JSON documents stand on one line: each needs a line of its own"},
        Row{R"({"a":1} and more)", "something follows the JSON document on its line"},
        Row{R"({"a":1,})", "the line is not valid JSON"}}) {
    LayoutReader reader(config::default_ndjson());
    EXPECT_EQ(reader.read(row.line, 0).error(), Reject::malformed) << row.line;
    EXPECT_THAT(reader.take_faults(), ElementsAre(row.fault)) << row.line;
  }
}

}  // namespace
}  // namespace roundel::feed
