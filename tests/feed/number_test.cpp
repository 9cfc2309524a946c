#include "daemon/feed/number.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <random>
#include <string>

namespace roundel::feed {
namespace {

TEST(ParseNumber, ReadsDecimalNotation) {
  struct Row {
    const char* text;
    double expected;  // the same number as a C++ literal, which the compiler rounds correctly
  };
  for (const Row& row :
       {Row{"0", 0}, Row{"-0", 0}, Row{"36000", 36000}, Row{"+7", 7}, Row{"-21.3", -21.3},
        Row{"52.31245", 52.31245}, Row{".5", .5}, Row{"5.", 5.},
        Row{"1764000000.125", 1764000000.125}, Row{"1e3", 1e3}, Row{"-1.5E-3", -1.5e-3},
        Row{"+2.5e+2", 250}, Row{"007", 7}, Row{"9007199254740993", 9007199254740993.0},
        Row{"0.1000000000000000055511151231257827", 0.1},
        Row{"123456789012345678", 123456789012345678.0},
        Row{"1234567890123456789", 1234567890123456789.0},
        Row{"12345678901234567890123", 12345678901234567890123.0}}) {
    const auto value = parse_number(row.text);
    ASSERT_TRUE(value) << row.text;
    EXPECT_EQ(*value, row.expected) << row.text;
  }
}

TEST(ParseNumber, RefusesWhatIsNoFiniteNumber) {
  for (const char* text :
       {"",      "-",     "+",        ".",   "-.", "+-5",   "--5",     "-+5", "5-",
        "1.2.3", "12 ft", "0x10",     "1e",  "e5", "1e400", "nan",     "NaN", "-nan",
        "inf",   "-inf",  "Infinity", "1,5", "1 ", " 1",    "\xC2\xBD"})
    EXPECT_FALSE(parse_number(text)) << text;
  EXPECT_FALSE(parse_number(std::string_view("1\0", 2))) << "a zero byte after the number";
}

TEST(ParseNumber, RoundsAsTheStandardLibraryDoes) {
  std::mt19937_64 random(1090);
  for (int i = 0; i < 200000; ++i) {
    std::string text(1 + random() % 21, '0');
    for (char& c : text) c = static_cast<char>('0' + random() % 10);
    if (random() % 4 != 0) text.insert(random() % (text.size() + 1), ".");
    if (random() % 2 != 0) text.insert(0, "-");
    const auto value = parse_number(text);
    ASSERT_TRUE(value) << text;
    ASSERT_EQ(*value, std::strtod(text.c_str(), nullptr)) << text;
  }
}

}  // namespace
}  // namespace roundel::feed
