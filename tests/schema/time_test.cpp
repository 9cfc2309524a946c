#include "roundel/time.h"

#include <gtest/gtest.h>

namespace roundel {
namespace {

struct TimeRow {
  const char* text;
  double expected_s;
  const char* source;
};

TEST(ParseTime, ReadsWhatTheStandardsShow) {
  const TimeRow rows[] = {
      {"1985-04-12T23:20:50.52Z", 482196050.52, "RFC 3339 section 5.8; seconds by GNU date"},
      {"1996-12-19T16:39:57-08:00", 851042397, "RFC 3339 section 5.8; seconds by GNU date"},
      {"1990-12-31T23:59:60Z", 662688000, "RFC 3339 section 5.8, a leap second"},
      {"1937-01-01T12:00:27.87+00:20", -1041337172.13, "RFC 3339 section 5.8; by GNU date"},
      {"2000-02-29", 951782400, "leap day of a century; GNU date"},
      {"1764000000.125", 1764000000.125, "Unix seconds"},
      {"0", 0, "Unix seconds"},
  };
  for (const TimeRow& row : rows) {
    const auto time_s = parse_time(row.text);
    ASSERT_TRUE(time_s) << row.text << ": " << row.source;
    EXPECT_NEAR(*time_s, row.expected_s, 1e-6) << row.text << ": " << row.source;
  }
}

TEST(ParseTime, RefusesWhatIsNoTime) {
  for (const char* text :
       {"", "yesterday", "2026-02-29", "2026-13-01", "2026-01-01T24:00:00Z", "2026-01-01T00:00:00",
        "2026-01-01T00:00:00Zx", "1764000000125", "nan", "inf", "-", "2026-01-01T00:00:00.Z"})
    EXPECT_FALSE(parse_time(text)) << text;
}

TEST(FormatTime, IsReadBackAsItself) {
  for (double time_s : {0.0, 951782400.0, 1764000000.0, 4102444799.0, -1.0}) {
    const auto again = parse_time(format_time(time_s));
    ASSERT_TRUE(again) << format_time(time_s);
    EXPECT_EQ(*again, time_s);
  }
}

}  // namespace
}  // namespace roundel
