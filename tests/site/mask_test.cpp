#include "roundel/site/mask.h"

#include <gtest/gtest.h>

#include <string>

namespace roundel::site {
namespace {

constexpr double radius_km = 6371;

Result<Mask> parse(const std::string& csv) {
  return Mask::parse(csv, "mask.csv", 122, 110, Refraction(), radius_km);
}

std::string every(int step_deg, const std::string& rest) {
  std::string out;
  for (int bearing = 0; bearing < 360; bearing += step_deg)
    out += std::to_string(bearing) + rest + "\n";
  return out;
}

TEST(Mask, IsInterpolatedAcrossNorth) {
  const auto mask = parse("bearing_deg,elevation_deg\n" + every(30, ",1") + "350,3\n10,5\n");
  ASSERT_TRUE(mask) << mask.error().line();
  EXPECT_NEAR(mask->at(350).elevation_deg, 3, 1e-12);
  EXPECT_NEAR(mask->at(-5).elevation_deg, 2, 1e-12);   // between 350 (3) and 0 (1)
  EXPECT_NEAR(mask->at(365).elevation_deg, 3, 1e-12);  // between 0 (1) and 10 (5)
  EXPECT_NEAR(mask->at(180).elevation_deg, 1, 1e-12);
}

// atan(10 m / 1 km) = 0.573 degrees; curvature takes 0.003 of it.
TEST(Mask, TurnsRangeAndHeightIntoElevation) {
  const auto mask = parse(every(30, ",1,132") + "90,5,100\n");
  ASSERT_TRUE(mask) << mask.error().line();
  EXPECT_NEAR(mask->at(90).elevation_deg, 0.570, 0.002);
  EXPECT_EQ(mask->at(90).range_km, 1);
}

TEST(Mask, WhatIsWrongIsOneLine) {
  const struct {
    const char* name;
    std::string csv, line;
  } rows[] = {
      {"gap", "0,1\n30,1\n60,1\n",
       "mask.csv: a gap of 300 degrees after bearing 60; give a bearing at least every 45 degrees"},
      {"elevation", "0,90\n",
       "mask.csv:1: elevation 90 is outside -10 to below 90; give it in degrees above the "
       "antenna's horizontal"},
      {"bearing", "# walls\n361,1\n",
       "mask.csv:2: bearing 361 is outside 0 to 360; give it in degrees clockwise from true north"},
      {"twice", every(30, ",1") + "30,2\n",
       "mask.csv:13: bearing 30 is given by line 2, too; keep one"},
      {"number", "0,high\n", "mask.csv:1: \"high\" is not a number; write one like 4.5"},
      {"empty", "# nothing\n",
       "mask.csv: holds no bearing; write lines like 90,4.5: bearing, elevation"},
      {"name", "bearing,elevation\n",
       "mask.csv:1: no column is called \"bearing\"; name bearing_deg,elevation_deg or "
       "bearing_deg,range_km,height_m"},
  };
  for (const auto& row : rows) {
    const auto mask = parse(row.csv);
    ASSERT_FALSE(mask) << row.name;
    EXPECT_EQ(mask.error().line(), row.line) << row.name;
  }
}

TEST(Mask, WhatIsWrittenReadsBack) {
  std::vector<MaskPoint> points;
  for (int i = 0; i < 12; ++i) points.push_back({30.0 * i, i == 3 ? 4.25 : -0.1, 0});
  const auto mask = parse(mask_csv(points, {"Hill house"}));
  ASSERT_TRUE(mask) << mask.error().line();
  EXPECT_EQ(mask->at(90).elevation_deg, 4.25);
  EXPECT_EQ(mask->points().size(), 12u);
}

}  // namespace
}  // namespace roundel::site
