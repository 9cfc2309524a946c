#include "daemon/serve/query.h"

#include <gtest/gtest.h>

#include <string>

namespace roundel::serve {
namespace {

Query parsed(std::string_view text) {
  auto query = Query::parse(text);
  EXPECT_TRUE(query) << text;
  return query.value_or(Query());
}

TEST(Query, ValuesArePercentDecoded) {
  // RFC 3986, section 2.1; '+' as a space: HTML, "application/x-www-form-urlencoded parsing".
  struct Row {
    const char* name;
    const char* text;
    const char* value;
  };
  const Row rows[] = {
      {"plain", "antenna=spider", "spider"},
      {"space", "antenna=big%20spider", "big spider"},
      {"plus", "antenna=big+spider", "big spider"},
      {"encoded plus", "antenna=a%2Bb", "a+b"},
      {"equals sign in the value", "antenna=a=b", "a=b"},
      {"two bytes of UTF-8", "antenna=%c3%96re", "\xC3\x96re"},
      {"lower-case hex", "antenna=%2f", "/"},
      {"encoded ampersand", "antenna=a%26mount=b", "a&mount=b"},
      {"key encoded", "%61ntenna=x", "x"},
      {"no value", "antenna", ""},
      {"empty pairs around", "&&antenna=x&", "x"},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    EXPECT_EQ(parsed(row.text).get("antenna"), row.value);
  }
}

TEST(Query, WhatIsNotEncodedTextIsRefused) {
  struct Row {
    const char* name;
    std::string text;
  };
  const Row rows[] = {
      {"cut after the percent sign", "a=%"},
      {"cut in the digits", "a=%4"},
      {"not hex", "a=%g0"},
      {"zero byte", "a=%00"},
      {"line end", "a=%0A"},
      {"delete", "a=%7f"},
      {"lone continuation byte", "a=%80"},
      {"overlong slash", "a=%c0%af"},
      {"overlong in three bytes", "a=%e0%80%af"},
      {"surrogate", "a=%ed%a0%80"},
      {"beyond U+10FFFF", "a=%f4%90%80%80"},
      {"cut character", "a=%e2%82"},
      {"raw byte", "a=\xff"},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    const auto query = Query::parse(row.text);
    ASSERT_FALSE(query);
    EXPECT_EQ(query.error().code, Errc::malformed);
    EXPECT_EQ(query.error().line(),
              "query: the query is not percent-encoded UTF-8 text; encode every value, a space as "
              "%20");
  }
}

TEST(Query, AKeyGivenTwiceIsRefused) {
  const auto query = Query::parse("from=1&to=2&from=3");
  ASSERT_FALSE(query);
  EXPECT_EQ(query.error().line(), "query: \"from\" is given twice");
}

TEST(Query, MoreThanThirtyTwoKeysAreRefused) {
  std::string text;
  for (int i = 0; i < 32; ++i) text += "k" + std::to_string(i) + "=v&";
  EXPECT_TRUE(Query::parse(text));
  EXPECT_FALSE(Query::parse(text + "k32=v"));
}

TEST(Query, UnknownKeysAreNamedWithThoseKnown) {
  const std::string_view known[] = {"bearing_deg", "from"};
  const auto result = parsed("from=1&bering=2").accept_only(known);
  ASSERT_FALSE(result);
  EXPECT_EQ(result.error().line(),
            "query: \"bering\" is not known here; known are bearing_deg, from");
  const auto none = parsed("x=1").accept_only({});
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().line(), "query: \"x\" is not known here; leave the query out");
}

TEST(Query, OrderDoesNotChangeTheCacheKey) {
  EXPECT_EQ(parsed("a=1&b=2").canonical(), parsed("b=2&a=1").canonical());
  EXPECT_NE(parsed("a=1&b=2").canonical(), parsed("a=1&b=3").canonical());
  // The pairs must not run together: these differ only in where the parts end.
  EXPECT_NE(parsed("a=1b%3D2").canonical(), parsed("a=1&b=2").canonical());
  EXPECT_NE(parsed("ab=c").canonical(), parsed("a=bc").canonical());
}

TEST(Selection, EveryKeyOfTheCommandLineIsRead) {
  const auto which = read_selection(
      parsed("antenna=spider&receiver=rx1&mount=gable&trial=3,7&feed=roof&from=2026-03-01&"
             "to=2026-03-02T12:00:00Z"));
  ASSERT_TRUE(which) << which.error().line();
  EXPECT_EQ(which->antenna, "spider");
  EXPECT_EQ(which->receiver, "rx1");
  EXPECT_EQ(which->mount, "gable");
  EXPECT_EQ(which->feed, "roof");
  EXPECT_EQ(which->trials, (std::vector<schema::Id>{3, 7}));
  // date -u -d 2026-03-01 +%s; date -u -d '2026-03-02 12:00' +%s
  EXPECT_EQ(which->from_s, 1772323200.0);
  EXPECT_EQ(which->to_s, 1772452800.0);
}

TEST(Selection, AnEmptyQuerySelectsEverything) {
  const auto which = read_selection(parsed(""));
  ASSERT_TRUE(which);
  EXPECT_FALSE(which->antenna || which->receiver || which->mount || which->feed || which->from_s ||
               which->to_s);
  EXPECT_TRUE(which->trials.empty());
}

TEST(Selection, WhatMakesNoSenseIsNamed) {
  struct Row {
    const char* name;
    const char* text;
    const char* line;
  };
  const Row rows[] = {
      {"trial in words", "trial=first",
       "trial: \"first\" is not a trial's number; write it like trial=3 or trial=3,4; /api/trials "
       "lists them"},
      {"trial zero", "trial=0",
       "trial: \"0\" is not a trial's number; write it like trial=3 or trial=3,4; /api/trials "
       "lists them"},
      {"trial with a tail", "trial=3x",
       "trial: \"3x\" is not a trial's number; write it like trial=3 or trial=3,4; /api/trials "
       "lists them"},
      {"no trial", "trial=", "trial: names no trial; write trial=3"},
      {"no antenna", "antenna=", "antenna: names nothing"},
      {"time in words", "from=yesterday",
       "from: \"yesterday\" is not a time; write Unix seconds or RFC 3339, like "
       "2026-03-01T12:00:00Z"},
      {"swapped times", "from=2026-03-02&to=2026-03-01", "from: from is not before to; swap them"},
      {"no time between", "from=5&to=5", "from: from is not before to; swap them"},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    const auto which = read_selection(parsed(row.text));
    ASSERT_FALSE(which);
    EXPECT_EQ(which.error().line(), row.line);
  }
}

TEST(Selection, OneWordHoldsPairsWithCommas) {
  const auto which = read_selection("antenna=collinear,from=2026-03-01,trial=3,trial=4");
  ASSERT_TRUE(which) << which.error().line();
  EXPECT_EQ(which->antenna, "collinear");
  EXPECT_EQ(which->from_s, 1772323200.0);
  EXPECT_EQ(which->trials, (std::vector<schema::Id>{3, 4}));
  EXPECT_TRUE(read_selection(""));
}

TEST(Selection, AWordThatIsNoPairIsNamed) {
  const auto bare = read_selection("collinear");
  ASSERT_FALSE(bare);
  EXPECT_EQ(bare.error().line(),
            "collinear: \"collinear\" selects nothing; write key=value pairs with commas between; "
            "keys are antenna, receiver, mount, trial, feed, from, to");
  EXPECT_FALSE(read_selection("antenna=a,antenna=b"));
  EXPECT_FALSE(read_selection("sector_deg=5"));
}

TEST(Number, StaysWithinItsRange) {
  struct Row {
    const char* name;
    const char* text;
    bool is_taken;
  };
  const Row rows[] = {
      {"whole", "90", true},          {"fraction", "0.5", true},  {"low end", "0", true},
      {"high end", "360", true},      {"below", "-0.1", false},   {"above", "360.1", false},
      {"not a number", "nan", false}, {"infinite", "inf", false}, {"exponent", "1e2", false},
      {"tail", "90deg", false},       {"empty", "", false},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    const auto value =
        read_number(parsed(std::string("bearing_deg=") + row.text), "bearing_deg", 0, 360, 7);
    EXPECT_EQ(value.has_value(), row.is_taken);
  }
  EXPECT_EQ(read_number(parsed(""), "bearing_deg", 0, 360, 7), 7);
  EXPECT_EQ(read_number(parsed("bearing_deg=400"), "bearing_deg", 0, 360, 7).error().line(),
            "bearing_deg: \"400\" is out of range; give a number from 0 to 360");
}

}  // namespace
}  // namespace roundel::serve
