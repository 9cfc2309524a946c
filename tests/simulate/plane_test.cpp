// site::sightline is the reference: a geodesic by GeographicLib for every point.
#include "analysis/simulate/plane.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "analysis/simulate/numeric.h"
#include "roundel/site/sightline.h"

namespace roundel::simulate {
namespace {

double turn(double a, double b) { return wrap_360(a - b + 180) - 180; }

TEST(Plane, AgreesWithTheSightlineAtEverySite) {
  struct Row {
    const char* name;
    double latitude, longitude;
  };
  for (const Row& row :
       {Row{"mid latitude", 52.1, 19.4}, Row{"equator", 0.2, -70}, Row{"south", -41, 174},
        Row{"antimeridian", 10, 179.9}, Row{"north", 70, 25}}) {
    SCOPED_TRACE(row.name);
    const Plane plane({"x", row.latitude, row.longitude, 110, 12, 100}, 4.0 / 3);
    const auto antenna = site::GeoPoint::make(row.latitude, row.longitude, 22);
    ASSERT_TRUE(antenna);
    for (double x = -450; x <= 450; x += 131) {
      for (double y = -450; y <= 450; y += 137) {
        const Position p = plane.position({x, y});
        const double altitude_ft = 36000;
        const auto aircraft =
            site::GeoPoint::make(p.latitude_deg, p.longitude_deg, altitude_ft * 0.3048 - 100);
        ASSERT_TRUE(aircraft);
        const site::Sightline expected = site::sightline(*antenna, *aircraft);
        const Sight sight = plane.sight({x, y}, altitude_ft);
        EXPECT_NEAR(sight.range_km, expected.range_km, 1e-4);
        EXPECT_NEAR(turn(sight.bearing_deg, expected.bearing_deg), 0, 1e-4);
        EXPECT_NEAR(sight.elevation_deg, expected.elevation_deg, 1e-5);
        EXPECT_NEAR(sight.slant_km, expected.slant_km, 1e-3);
      }
    }
  }
}

TEST(Plane, PlaceAndPositionAreInverse) {
  const Plane plane({"x", 52.1, 19.4, 110, 12, 100}, 4.0 / 3);
  const Place back = plane.place(plane.position({211, -333}));
  EXPECT_NEAR(back.x_km, 211, 1e-5);
  EXPECT_NEAR(back.y_km, -333, 1e-5);
}

TEST(Plane, HorizonStandsOnTheHorizonRay) {
  const Plane plane({"x", 52.1, 19.4, 110, 12, 100}, 4.0 / 3);
  const Sight east = plane.sight({400, 0}, 36000);
  const double horizon_km = plane.horizon_km(east, 36000);
  // 4.12 (sqrt h1 + sqrt h2), m and km, follows the 4/3-Earth arc to 0.1 km for a mean radius
  // (tests/reference/README.md, section 1); the radius along the equator's direction is 0.3 % more.
  EXPECT_NEAR(horizon_km, 4.1218 * (std::sqrt(22.0) + std::sqrt(36000 * 0.3048 - 100)), 1.5);
  EXPECT_NEAR(plane.sight({horizon_km, 0}, 36000).elevation_deg, plane.horizon_elevation_deg(),
              0.001);
}

}  // namespace
}  // namespace roundel::simulate
