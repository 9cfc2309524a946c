#include <gtest/gtest.h>

#include <GeographicLib/Geodesic.hpp>
#include <cmath>
#include <random>
#include <vector>

#include "roundel/site/sightline.h"

namespace roundel::site {
namespace {

double apart_deg(double a, double b) { return std::abs(std::remainder(a - b, 360.0)); }

struct Place {
  const char* name;
  double latitude_deg, longitude_deg;
};
constexpr Place places[] = {
    {"mid-north", 52.1, 19.4},
    {"mid-south", -33.9, 151.2},
    {"equator", 1.35, 103.99},
    {"far north", 69.9, -21.9},
    {"antimeridian", 40, 179.8},
    {"just west of it", -17, 180},
    {"Greenwich", 51.5, 0},
    {"far south", -70, -179.9},
    {"grid's last latitude", 70.9, 25},
    {"beyond the grid", 78.2, 15.5},
    {"pole", 90, 0},
};

Viewpoint viewpoint_at(const Place& place) {
  return Viewpoint(*GeoPoint::make(place.latitude_deg, place.longitude_deg, 10));
}

// The bounds of the header, from 1 km to past the grid's edge, against the geodesic itself.
TEST(Viewpoint, GridAgreesWithTheGeodesicOutToItsEdge) {
  std::mt19937_64 random(20260301);
  std::uniform_real_distribution<double> unit(0, 1);
  const auto& ellipsoid = GeographicLib::Geodesic::WGS84();
  for (const Place& place : places) {
    const auto viewpoint = viewpoint_at(place);
    double worst_mm = 0;
    double worst_deg = 0;
    for (int i = 0; i < 20'000; ++i) {
      // Evenly over near and far; the last tenth up to 1100 km, over the edge.
      const double range_m = i % 3 == 0   ? 1000 * std::pow(1100.0, unit(random))
                             : i % 3 == 1 ? 1'000'000 * std::sqrt(unit(random))
                                          : 1000 * (900 + 200 * unit(random));
      const double bearing_deg = 360 * unit(random);
      double latitude_deg{}, longitude_deg{};
      ellipsoid.Direct(place.latitude_deg, place.longitude_deg, bearing_deg, range_m, latitude_deg,
                       longitude_deg);
      const auto seen = viewpoint.over(latitude_deg, longitude_deg);
      worst_mm = std::max(worst_mm, std::abs(seen.range_km * 1e6 - range_m * 1e3));
      worst_deg = std::max(worst_deg, apart_deg(seen.bearing_deg, bearing_deg));
      ASSERT_GE(seen.bearing_deg, 0);
      ASSERT_LT(seen.bearing_deg, 360);
    }
    EXPECT_LT(worst_mm, 1.0) << place.name;
    EXPECT_LT(worst_deg, 1e-6) << place.name;
  }
}

TEST(Viewpoint, AgreesWithSightlineInEveryMember) {
  for (const Place& place : places) {
    const auto viewpoint = viewpoint_at(place);
    for (double dlat_deg : {-8.0, -0.3, 0.0, 0.001, 2.0})
      for (double dlon_deg : {-12.0, -0.2, 0.0, 0.001, 30.0}) {
        const double latitude_deg = std::clamp(place.latitude_deg + dlat_deg, -90.0, 90.0);
        const double longitude_deg = std::remainder(place.longitude_deg + dlon_deg, 360.0);
        const auto fast = viewpoint.to(latitude_deg, longitude_deg, 36000);
        const auto exact =
            sightline(viewpoint.antenna(),
                      *GeoPoint::make(latitude_deg, longitude_deg, 36000 * metres_per_foot));
        EXPECT_NEAR(fast.range_km, exact.range_km, 1e-6) << place.name;
        EXPECT_NEAR(fast.slant_km, exact.slant_km, 1e-6) << place.name;
        EXPECT_LE(apart_deg(fast.bearing_deg, exact.bearing_deg), 1e-6) << place.name;
        EXPECT_NEAR(fast.elevation_deg, exact.elevation_deg, 1e-6) << place.name;
      }
  }
}

// Many at once take other ways than one: by blocks, in wider registers. Ends of blocks, places
// under the antenna, outside the grid and beyond the series' end are among them.
TEST(Viewpoint, SeesManyAsItSeesOneToTheLastDigit) {
  std::mt19937_64 random(20260302);
  std::uniform_real_distribution<double> unit(-1, 1);
  for (const Place& place : places) {
    const auto viewpoint = viewpoint_at(place);
    std::vector<schema::Cell> cells;
    for (int i = 0; i < 1000; ++i) {
      const double spread_deg = i % 4 == 0 ? 0.02 : i % 4 == 1 ? 14 : 3;
      schema::Cell cell;
      cell.latitude_deg = std::clamp(place.latitude_deg + spread_deg * unit(random), -90.0, 90.0);
      cell.longitude_deg = std::remainder(place.longitude_deg + spread_deg * unit(random), 360.0);
      cell.altitude_ft = 25 * std::round(500 * (1 + unit(random)));
      cells.push_back(cell);
    }
    cells[500].latitude_deg = place.latitude_deg;
    cells[500].longitude_deg = place.longitude_deg;
    std::vector<Sighting> seen(cells.size());
    viewpoint.sight(cells, seen);
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const auto one =
          viewpoint.sight(cells[i].latitude_deg, cells[i].longitude_deg, cells[i].altitude_ft);
      ASSERT_EQ(seen[i].line.range_km, one.line.range_km) << place.name << ' ' << i;
      ASSERT_EQ(seen[i].line.bearing_deg, one.line.bearing_deg) << place.name << ' ' << i;
      ASSERT_EQ(seen[i].line.slant_km, one.line.slant_km) << place.name << ' ' << i;
      ASSERT_EQ(seen[i].line.elevation_deg, one.line.elevation_deg) << place.name << ' ' << i;
      ASSERT_EQ(seen[i].east_km, one.east_km) << place.name << ' ' << i;
      ASSERT_EQ(seen[i].north_km, one.north_km) << place.name << ' ' << i;
    }
  }
}

TEST(Viewpoint, TakesHeightsAboveTheSurroundingSurface) {
  const schema::SiteRow site{"Hill house", 52.1, 19.4, 110, 12, 100};
  const auto viewpoint = Viewpoint::from(site);
  ASSERT_TRUE(viewpoint);
  EXPECT_DOUBLE_EQ(viewpoint->antenna().height_m(), 22);
  EXPECT_DOUBLE_EQ(viewpoint->height_m(10'000), 3048 - 100);
  EXPECT_EQ(viewpoint->height_m(0), 0);
}

TEST(Viewpoint, RefusesASiteThatIsNotOnTheEarth) {
  const auto viewpoint = Viewpoint::from({"Hill house", 152.1, 19.4, 110, 12, 100});
  ASSERT_FALSE(viewpoint);
  EXPECT_EQ(viewpoint.error().line(), "site: latitude 152.1 degrees is outside -90 to 90");
}

}  // namespace
}  // namespace roundel::site
