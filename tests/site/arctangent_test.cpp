#include "analysis/site/arctangent.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

namespace roundel::site {
namespace {

constexpr double deg = 180 / std::numbers::pi;

// The C library's atan2 is the reference: within 1 ulp (glibc manual, "Known Maximum Errors").
double reference_deg(double east, double north) {
  const double azimuth = std::atan2(east, north) * deg;
  return azimuth < 0 ? azimuth + 360 : azimuth;
}

TEST(Arctangent, BearingsAreThoseOfTheCLibrary) {
  std::mt19937_64 random(17);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> exponent(-12, 6);
  for (int i = 0; i < 200000; ++i) {
    const double east = normal(random) * std::pow(10, exponent(random));
    const double north = normal(random) * std::pow(10, exponent(random));
    const double difference =
        std::remainder(bearing_of(east, north) - reference_deg(east, north), 360);
    ASSERT_LT(std::abs(difference), 1e-13 * 4) << east << ' ' << north;
  }
}

TEST(Arctangent, TheEightWindsAreExact) {
  struct {
    const char* name;
    double east, north, bearing_deg;
  } const winds[] = {
      {"north", 0, 3, 0},         {"north-east", 2, 2, 45},   {"east", 5, 0, 90},
      {"south-east", 1, -1, 135}, {"south", 0, -1e-3, 180},   {"south-west", -7, -7, 225},
      {"west", -1e9, 0, 270},     {"north-west", -4, 4, 315}, {"north of -0", -0.0, 1, 0}};
  for (const auto& wind : winds)
    EXPECT_EQ(bearing_of(wind.east, wind.north), wind.bearing_deg) << wind.name;
}

TEST(Arctangent, ABearingIsNever360) {
  const double bearing_deg = bearing_of(-1e-300, 1);
  EXPECT_GE(bearing_deg, 0);
  EXPECT_LT(bearing_deg, 360);
  EXPECT_LT(bearing_of(-1e-16, 1), 360);
}

TEST(Arctangent, TheNullVectorHasAngleZero) {
  EXPECT_EQ(bearing_of(0, 0), 0);
  EXPECT_EQ(elevation_of(0, 0), 0);
}

TEST(Arctangent, ElevationsAreThoseOfTheCLibrary) {
  std::mt19937_64 random(18);
  std::uniform_real_distribution<double> up(-12, 12), across(0, 500);
  for (int i = 0; i < 100000; ++i) {
    const double x = across(random), y = up(random);
    ASSERT_NEAR(elevation_of(y, x), std::atan2(y, x) * deg, 1e-13) << y << ' ' << x;
  }
  EXPECT_EQ(elevation_of(1, 0), 90);
  EXPECT_EQ(elevation_of(-2, 0), -90);
}

}  // namespace
}  // namespace roundel::site
