#include "roundel/site/sightline.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "tests/reference/csv.h"

namespace roundel::site {
namespace {

GeoPoint point(double latitude_deg, double longitude_deg, double height_m = 0) {
  auto made = GeoPoint::make(latitude_deg, longitude_deg, height_m);
  EXPECT_TRUE(made) << latitude_deg << " " << longitude_deg << " " << height_m;
  return *made;
}

/// Into [-180, 180], for lines of the reference that run on past it.
double wrapped(double degrees) { return std::remainder(degrees, 360.0); }
double apart_deg(double a, double b) { return std::abs(std::remainder(a - b, 360.0)); }

TEST(GeoPoint, RefusesWhatIsNotOnTheEarthAndNamesIt) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  constexpr double inf = std::numeric_limits<double>::infinity();
  const struct {
    double latitude_deg, longitude_deg, height_m;
    const char* what;
  } rows[] = {
      {90.001, 0, 0, "latitude 90.001 degrees is outside -90 to 90"},
      {-91, 0, 0, "latitude -91 degrees is outside -90 to 90"},
      {nan, 0, 0, "latitude nan degrees is outside -90 to 90"},
      {0, 180.5, 0, "longitude 180.5 degrees is outside -180 to 180"},
      {0, -inf, 0, "longitude -inf degrees is outside -180 to 180"},
      {0, 0, -501, "height -501 m is outside -500 to 50000"},
      {0, 0, 50001, "height 50001 m is outside -500 to 50000"},
  };
  for (const auto& row : rows) {
    const auto made = GeoPoint::make(row.latitude_deg, row.longitude_deg, row.height_m);
    ASSERT_FALSE(made) << row.what;
    EXPECT_EQ(made.error().what, row.what);
    EXPECT_EQ(made.error().code, Errc::out_of_range);
  }
  EXPECT_TRUE(GeoPoint::make(90, -180, 50000));
  EXPECT_TRUE(GeoPoint::make(-90, 180, -500));
}

/// Half of the last digit that is printed, and none of the value's trailing zeros cut off.
double half_digit(const std::string& printed) {
  const auto point_at = printed.find('.');
  const auto decimals = point_at == std::string::npos ? 0 : printed.size() - point_at - 1;
  return 0.5 * std::pow(10.0, -static_cast<double>(decimals));
}

// All lines of geodesic_inverse.csv. A distance is as good as its printed digits, GeographicLib's
// 15 nm, and what the file itself says it was off by (reverify_m: the one line on GRS 80). A
// bearing is as good as its digits, those 15 nm seen from the other end, and 0.01 arc seconds for
// the line on GRS 80.
TEST(Sightline, AgreesWithPublishedGeodesics) {
  const auto lines = reference::rows("geodesic_inverse.csv");
  EXPECT_EQ(lines.size(), 35u);
  for (const auto& line : lines) {
    const double range_m = reference::number(line, "distance_m");
    const double reverify_m = std::abs(reference::number(line, "reverify_m"));
    const auto seen = sightline(
        point(reference::number(line, "lat1_deg"), reference::number(line, "lon1_deg")),
        point(reference::number(line, "lat2_deg"), wrapped(reference::number(line, "lon2_deg"))));
    EXPECT_NEAR(seen.range_km * 1000, range_m,
                15e-9 + half_digit(line.at("distance_m")) + reverify_m)
        << line.at("source");
    const double from_afar_deg = 15e-9 / range_m * 57.3;
    const double arc_seconds_deg = reverify_m > 1e-5 ? 0.01 / 3600 : 0;
    EXPECT_LE(apart_deg(seen.bearing_deg, reference::number(line, "azi1_deg")),
              1e-13 + half_digit(line.at("azi1_deg")) + from_afar_deg + arc_seconds_deg)
        << line.at("source") << " " << line.at("distance_m");
  }
}

TEST(Sightline, BearingIsClockwiseFromTrueNorth) {
  const auto here = point(52.1, 19.4);
  EXPECT_EQ(sightline(here, point(53.1, 19.4)).bearing_deg, 0);
  EXPECT_EQ(sightline(here, point(51.1, 19.4)).bearing_deg, 180);
  // On the equator, east and west are exactly that: by symmetry.
  EXPECT_EQ(sightline(point(0, 0), point(0, 1)).bearing_deg, 90);
  EXPECT_EQ(sightline(point(0, 0), point(0, -1)).bearing_deg, 270);
}

TEST(Sightline, BearingStaysBelow360) {
  const auto here = point(52.1, 19.4);
  for (double west_deg : {1e-3, 1e-6, 1e-9, 1e-12, 1e-14}) {
    const double bearing_deg = sightline(here, point(53, 19.4 - west_deg)).bearing_deg;
    EXPECT_GE(bearing_deg, 0) << west_deg;
    EXPECT_LT(bearing_deg, 360) << west_deg;
    // 100 km north, a degree of longitude is seen under less than 45 degrees.
    EXPECT_LE(apart_deg(bearing_deg, 0), 45 * west_deg) << west_deg;
  }
}

TEST(Sightline, TheSamePointIsAtRangeZeroAndBearingZero) {
  const auto same = sightline(point(52.1, 19.4, 20), point(52.1, 19.4, 20));
  EXPECT_EQ(same.range_km, 0);
  EXPECT_EQ(same.slant_km, 0);
  EXPECT_EQ(same.bearing_deg, 0);
  EXPECT_EQ(same.elevation_deg, 0);
  EXPECT_EQ(sightline(point(52.1, 19.4), point(52.1, 19.4, 9000)).elevation_deg, 90);
  EXPECT_EQ(sightline(point(52.1, 19.4, 9000), point(52.1, 19.4)).elevation_deg, -90);
  EXPECT_DOUBLE_EQ(sightline(point(52.1, 19.4), point(52.1, 19.4, 9000)).slant_km, 9);
}

TEST(Sightline, TheAntimeridianIsNoEdge) {
  const auto shifted = sightline(point(40, 10), point(41, 12));
  for (const auto& [from_deg, to_deg] :
       {std::pair{179.0, -179.0}, {-180.0, -178.0}, {180.0, -178.0}}) {
    const auto across = sightline(point(40, from_deg), point(41, to_deg));
    EXPECT_NEAR(across.range_km, shifted.range_km, 1e-9);
    EXPECT_NEAR(across.bearing_deg, shifted.bearing_deg, 1e-9);
  }
  EXPECT_EQ(sightline(point(40, 180), point(40, -180)).range_km, 0);
}

// Quarter meridian of WGS 84: 10 001 965.729 m (NIMA TR8350.2 gives a, f; the value is widely
// printed to the millimetre).
TEST(Sightline, FromAPoleEveryPointIsAQuarterMeridianFromTheEquator) {
  for (double longitude_deg : {-180.0, -90.0, 0.0, 45.0, 180.0}) {
    for (double pole_deg : {90.0, -90.0}) {
      const auto seen = sightline(point(pole_deg, 0), point(0, longitude_deg));
      EXPECT_NEAR(seen.range_km, 10001.965729, 1e-6);
      EXPECT_TRUE(std::isfinite(seen.bearing_deg));
      EXPECT_TRUE(std::isfinite(seen.elevation_deg));
    }
  }
  EXPECT_EQ(sightline(point(0, 0), point(90, 77)).bearing_deg, 0);
  EXPECT_EQ(sightline(point(0, 0), point(-90, 77)).bearing_deg, 180);
}

TEST(Sightline, EverythingIsFiniteToTheAntipode) {
  for (double latitude_deg : {-90.0, -52.1, 0.0, 52.1, 90.0})
    for (double longitude_deg : {-180.0, -160.6, 0.0, 19.4, 180.0})
      for (double k : {1.0, k_standard, 10.0}) {
        const auto seen =
            sightline(point(52.1, 19.4, 12), point(latitude_deg, longitude_deg, 11582), k);
        EXPECT_TRUE(std::isfinite(seen.range_km) && std::isfinite(seen.slant_km) &&
                    std::isfinite(seen.bearing_deg) && std::isfinite(seen.elevation_deg))
            << latitude_deg << " " << longitude_deg << " " << k;
        EXPECT_GE(seen.range_km, 0);
        EXPECT_GE(seen.slant_km, 0);
        EXPECT_LE(std::abs(seen.elevation_deg), 90);
      }
}

// From a pole every bearing has the polar radius of curvature, 6399.593 625 8 km (NIMA TR8350.2,
// table 3.3), so the triangle can be drawn by hand: an aircraft whose own horizon just touches the
// antenna on the ground stands at elevation 0 and slant sqrt(2 R h + h^2).
TEST(Sightline, AnAircraftOnTheHorizonStandsAtElevationZero) {
  const double effective_km = 6399.5936258 * 4 / 3;
  const double height_km = 11.0;
  const double range_km = effective_km * std::acos(effective_km / (effective_km + height_km));
  // Latitude that far from the pole: near it a degree is 111.694 km; bisect on the range itself.
  double low_deg = 80;
  double high_deg = 90;
  for (int i = 0; i < 60; ++i) {
    const double middle_deg = (low_deg + high_deg) / 2;
    (sightline(point(90, 0), point(middle_deg, 0)).range_km > range_km ? low_deg : high_deg) =
        middle_deg;
  }
  const auto seen = sightline(point(90, 0), point(low_deg, 0, height_km * 1000));
  EXPECT_NEAR(seen.elevation_deg, 0, 1e-6);
  EXPECT_NEAR(seen.slant_km, std::sqrt(2 * effective_km * height_km + height_km * height_km), 1e-6);
}

// With straight rays (k = 1) the
// elevation at short range is plainly atan(height / range) less half the arc.
TEST(Sightline, ElevationAtShortRangeIsPlaneGeometry) {
  const auto antenna = point(52.1, 19.4, 10);
  const auto aircraft = point(52.15, 19.4, 3010);
  const auto seen = sightline(antenna, aircraft, 1.0);
  const double plane_deg = std::atan2(3.0, seen.range_km) * 57.29577951308232;
  const double half_arc_deg = seen.range_km / 6371 / 2 * 57.29577951308232;
  // Terms left out are of order (height / radius): 3 / 6371 of the angle.
  EXPECT_NEAR(seen.elevation_deg, plane_deg - half_arc_deg, 0.01);
  EXPECT_NEAR(seen.slant_km, std::hypot(3.0, seen.range_km), 0.003);
}

}  // namespace
}  // namespace roundel::site
