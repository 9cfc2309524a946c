// Steps between places: distances, ways along great circles, means.
#include "roundel/site/path.h"

#include <gtest/gtest.h>

#include <GeographicLib/Geodesic.hpp>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace roundel::site {
namespace {

TEST(Longitude, IsWrappedIntoMinus180To180) {
  EXPECT_EQ(wrap_longitude_deg(0), 0);
  EXPECT_EQ(wrap_longitude_deg(179.5), 179.5);
  EXPECT_EQ(wrap_longitude_deg(180), -180);
  EXPECT_EQ(wrap_longitude_deg(-180), -180);
  EXPECT_EQ(wrap_longitude_deg(190), -170);
  EXPECT_EQ(wrap_longitude_deg(-190), 170);
  EXPECT_EQ(wrap_longitude_deg(725), 5);
  EXPECT_LT(wrap_longitude_deg(std::nextafter(-180, -181)), 180);
}

TEST(Longitude, DifferenceIsTheShortWayRound) {
  EXPECT_EQ(longitude_difference_deg(-179, 179), 2);
  EXPECT_EQ(longitude_difference_deg(179, -179), -2);
  EXPECT_EQ(longitude_difference_deg(10, 30), -20);
}

TEST(Distance, OfAQuarterMeridianIsAQuarterOfTheSphere) {
  const double quarter_km = std::numbers::pi / 2 * 6371.0088;
  EXPECT_NEAR(distance_km({0, 20}, {90, -55}), quarter_km, 1e-6);
  EXPECT_NEAR(distance_km({0, -45}, {0, 45}), quarter_km, 1e-6);
  EXPECT_NEAR(distance_km({30, 10}, {-30, -170}), 2 * quarter_km, 1e-6);
  EXPECT_EQ(distance_km({52, 19}, {52, 19}), 0);
}

TEST(Distance, IsTheEllipsoidsWithin57HundredthsOfAPercent) {
  std::mt19937 random(1);
  std::uniform_real_distribution<double> latitude(-90, 90), longitude(-180, 180), step(-4, 4);
  for (int i = 0; i < 2000; ++i) {
    const Place a{latitude(random), longitude(random)};
    const Place b{std::clamp(a.latitude_deg + step(random), -90., 90.),
                  wrap_longitude_deg(a.longitude_deg + step(random))};
    double geodesic_m = 0;
    GeographicLib::Geodesic::WGS84().Inverse(a.latitude_deg, a.longitude_deg, b.latitude_deg,
                                             b.longitude_deg, geodesic_m);
    EXPECT_NEAR(distance_km(a, b), geodesic_m / 1000, 0.0057 * geodesic_m / 1000);
  }
}

TEST(Within, AgreesWithTheDistance) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> latitude(-90, 90), longitude(-180, 180), step(-1, 1),
      limit(0, 150);
  for (int i = 0; i < 20'000; ++i) {
    const Place a{latitude(random), longitude(random)};
    const Place b{std::clamp(a.latitude_deg + step(random), -90., 90.),
                  wrap_longitude_deg(a.longitude_deg + step(random))};
    const double limit_km = limit(random);
    if (std::abs(distance_km(a, b) - limit_km) < 1e-6) continue;
    EXPECT_EQ(are_within(a, b, limit_km), distance_km(a, b) <= limit_km)
        << a.latitude_deg << ' ' << a.longitude_deg;
  }
}

struct Way {
  const char* name;
  Place from, to;
  double fraction;
  Place expected;
};

TEST(Along, FollowsTheGreatCircle) {
  // By symmetry, but for the last: the middle between (50, 0) and (50, 20) lies at
  // atan(tan 50 / cos 10) = 50.43131 N.
  const Way rows[] = {
      {"meridian", {50, 10}, {52, 10}, 0.25, {50.5, 10}},
      {"past the end", {50, 10}, {51, 10}, 3, {53, 10}},
      {"before the start", {50, 10}, {51, 10}, -1, {49, 10}},
      {"equator, antimeridian", {0, 179}, {0, -179}, 0.75, {0, -179.5}},
      {"over the north pole", {89, 20}, {89, -160}, 0.75, {89.5, -160}},
      {"over the south pole", {-89, 20}, {-88, -160}, 0.5, {-89.5, -160}},
      {"the same place", {52, 19}, {52, 19}, 0.5, {52, 19}},
      {"north of the parallel", {50, 0}, {50, 20}, 0.5, {50.43131, 10}},
  };
  for (const Way& row : rows) {
    const Place found = along(row.from, row.to, row.fraction);
    EXPECT_NEAR(found.latitude_deg, row.expected.latitude_deg, 1e-5) << row.name;
    EXPECT_NEAR(longitude_difference_deg(found.longitude_deg, row.expected.longitude_deg), 0, 1e-5)
        << row.name;
  }
}

TEST(Along, OppositePlacesStaysAtTheFirst) {
  const Place found = along({90, 0}, {-90, 0}, 0.5);
  EXPECT_TRUE(std::isfinite(found.latitude_deg) && std::isfinite(found.longitude_deg));
}

TEST(MeanPlace, IsRightAcrossTheAntimeridian) {
  MeanPlace mean;
  mean.add({10, 179.98});
  mean.add({10.02, -179.98});
  mean.add({10.01, -179.97});
  EXPECT_NEAR(mean.mean().latitude_deg, 10.01, 1e-9);
  EXPECT_NEAR(mean.mean().longitude_deg, -179.99, 1e-9);
}

TEST(MeanPlace, IsRightAcrossAPole) {
  for (const double sign : {1., -1.}) {
    MeanPlace mean;
    mean.add({sign * 89.99, 20});
    mean.add({sign * 89.97, -160});
    EXPECT_NEAR(mean.mean().latitude_deg, sign * 89.99, 1e-9);
    EXPECT_NEAR(mean.mean().longitude_deg, -160, 1e-9);
  }
}

TEST(MeanPlace, CountsWeights) {
  MeanPlace mean;
  mean.add({50, 10}, 3);
  mean.add({50.4, 10.8}, 1);
  EXPECT_NEAR(mean.mean().latitude_deg, 50.1, 1e-9);
  EXPECT_NEAR(mean.mean().longitude_deg, 10.2, 1e-9);
  EXPECT_EQ(mean.weight(), 4);
}

}  // namespace
}  // namespace roundel::site
