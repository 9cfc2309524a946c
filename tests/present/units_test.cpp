#include "roundel/present/units.h"

#include <gtest/gtest.h>

namespace roundel::present {
namespace {

TEST(Units, AreReadByName) {
  EXPECT_EQ(parse_units("metric"), Units::metric);
  EXPECT_EQ(parse_units("aviation"), Units::aviation);
  const auto refused = parse_units("Metric");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().line(), "--units: unknown units \"Metric\"; choose metric or aviation");
}

// A nautical mile is 1852 m, a foot 0.3048 m, both exact.
TEST(Units, ConvertForReading) {
  EXPECT_EQ(range_text(Units::metric, 402.4), "402 km");
  EXPECT_EQ(range_text(Units::aviation, 402.4), "217 NM");
  EXPECT_EQ(range_in_both(Units::metric, 402.4), "402 km (217 NM)");
  EXPECT_EQ(range_in_both(Units::aviation, 402.4), "217 NM (402 km)");
  EXPECT_EQ(range_text(Units::metric, 1.852), "1.9 km");
  EXPECT_EQ(range_text(Units::aviation, 1.852), "1.0 NM");
  EXPECT_EQ(range_text(Units::metric, 9.96), "10 km");
  EXPECT_EQ(altitude_text(Units::aviation, 38'000), "38 000 ft");
  EXPECT_EQ(altitude_text(Units::metric, 38'000), "11 580 m");
  EXPECT_DOUBLE_EQ(range_km_of(Units::aviation, range_in(Units::aviation, 402.4)), 402.4);
}

TEST(Units, BearingsHaveThreeDigitsBelow360) {
  EXPECT_EQ(bearing_text(0), "000");
  EXPECT_EQ(bearing_text(38.2), "038");
  EXPECT_EQ(bearing_text(359.4), "359");
  EXPECT_EQ(bearing_text(359.6), "000");
  EXPECT_EQ(bearing_text(360), "000");
}

TEST(Units, CountsAndAddressesReadAtAGlance) {
  EXPECT_EQ(grouped(0), "0");
  EXPECT_EQ(grouped(999), "999");
  EXPECT_EQ(grouped(1'234'567), "1 234 567");
  EXPECT_EQ(grouped(-123), "-123");
  EXPECT_EQ(grouped(-1'234), "-1 234");
  EXPECT_EQ(address_text(0x00001f), "00001f");
  EXPECT_EQ(address_text(0x4b1617), "4b1617");
  EXPECT_EQ(address_text(0x1234'5678'9abc'def0), "123456789abcdef0");
}

std::vector<bool> sectors(std::initializer_list<int> chosen, std::size_t n = 72) {
  std::vector<bool> out(n);
  for (int i : chosen) out[static_cast<std::size_t>(i)] = true;
  return out;
}

TEST(BearingRanges, JoinNeighboursAlsoAcrossNorth) {
  EXPECT_EQ(bearing_ranges({}), "");
  EXPECT_EQ(bearing_ranges(sectors({})), "");
  EXPECT_EQ(bearing_ranges(std::vector<bool>(72, true)), "all bearings");
  EXPECT_EQ(bearing_ranges(sectors({36, 37, 38, 39, 40, 41})), "180 to 210 degrees");
  EXPECT_EQ(bearing_ranges(sectors({71})), "355 to 000 degrees");
  EXPECT_EQ(bearing_ranges(sectors({0, 1, 70, 71})), "350 to 010 degrees");
  EXPECT_EQ(bearing_ranges(sectors({0, 10})), "050 to 055, 000 to 005 degrees");
  EXPECT_EQ(bearing_ranges(sectors({1, 3, 5, 7, 9, 11, 13, 15})),
            "005 to 010, 015 to 020, 025 to 030, 035 to 040, 045 to 050, 055 to 060 degrees and 2 "
            "more");
}

}  // namespace
}  // namespace roundel::present
