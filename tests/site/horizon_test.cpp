#include "roundel/site/horizon.h"

#include <gtest/gtest.h>

#include <cmath>

#include "roundel/site/limit.h"
#include "tests/reference/csv.h"

namespace roundel::site {
namespace {

constexpr double reference_radius_km = 6371;

// The columns are printed to 0.1 m and computed from the metres printed beside them.
TEST(Horizon, AgreesWithTheTablesOfTheEffectiveEarthAndOfTheRay) {
  const auto table = reference::rows("p528_max_line_of_sight.csv");
  EXPECT_EQ(table.size(), 36u);
  for (const auto& row : table) {
    const double h1_m = reference::number(row, "h1_m");
    const double h2_m = reference::number(row, "h2_m");
    EXPECT_NEAR(horizon_km(reference_radius_km, k_standard, h1_m, h2_m),
                reference::number(row, "k43_acos_km"), 0.6e-4)
        << h1_m << " m to " << h2_m << " m";
    EXPECT_NEAR(ray_horizon_km(reference_radius_km, {}, h1_m, h2_m),
                reference::number(row, "ray_p453_km"), 0.6e-4)
        << h1_m << " m to " << h2_m << " m";
    // Published ITU-R P.528-5, through another atmosphere: within 2 % (README of the data).
    const double published_km = reference::number(row, "p528_d_ml_km");
    EXPECT_NEAR(ray_horizon_km(reference_radius_km, {}, h1_m, h2_m), published_km,
                0.02 * published_km);
  }
}

TEST(Horizon, OfOneTerminalAgreesWithTheTable) {
  const auto table = reference::rows("p528_terminal_geometry.csv");
  EXPECT_EQ(table.size(), 30u);
  for (const auto& row : table) {
    const double height_m = reference::number(row, "height_m");
    EXPECT_NEAR(horizon_km(reference_radius_km, k_standard, height_m, 0),
                reference::number(row, "k43_acos_km"), 1e-4)
        << height_m << " m";
    EXPECT_NEAR(ray_horizon_km(reference_radius_km, {}, 0, height_m),
                reference::number(row, "ray_p453_km"), 1e-4)
        << height_m << " m";
  }
}

// Both rules leave out a term of 5 h / 12 R, which is 0.06 % at 12 192 m, and round a coefficient:
// 4.1218 to 4.12 (0.04 % the other way) and 1.22872 to 1.23 (0.104 % the same way; Federal
// Standard 1037C).
TEST(Horizon, AgreesWithTheHandbookRules) {
  for (const auto& row : reference::rows("p528_max_line_of_sight.csv")) {
    const double h1_m = reference::number(row, "h1_m");
    const double h2_m = reference::number(row, "h2_m");
    const double ours_km = horizon_km(reference_radius_km, k_standard, h1_m, h2_m);
    const double rule_km = 4.12 * (std::sqrt(h1_m) + std::sqrt(h2_m));
    const double rule_nm =
        1.23 * (std::sqrt(h1_m / metres_per_foot) + std::sqrt(h2_m / metres_per_foot));
    EXPECT_NEAR(ours_km / rule_km, 1, 0.0006);
    EXPECT_NEAR(ours_km / km_per_nautical_mile / rule_nm, 1, 0.0017);
    EXPECT_NEAR(rule_km, reference::number(row, "rule_4_12_km"), 1e-4);
  }
}

// ICAO Doc 9871 (working draft, June 2011): 600 km (325 NM) needs more than 21 000 m (70 000 ft)
// for a receiver on the surface. Figures printed to 25 NM, 10 000 ft.
TEST(Horizon, AgreesWithTheIcaoExample) {
  EXPECT_NEAR(horizon_km(reference_radius_km, k_standard, 0, 21'336), 600, 4);
}

// Radii of curvature of WGS 84 (NIMA TR8350.2): polar 6399.5936258 km; at the equator
// a = 6378.137 km along it and a (1 - e2) = 6335.439327 km across it.
TEST(Horizon, UsesTheRadiusOfCurvatureInTheBearingsPlane) {
  const Viewpoint pole(*GeoPoint::make(90, 0, 10));
  const Viewpoint equator(*GeoPoint::make(0, 0, 10));
  const struct {
    const char* name;
    const Viewpoint& viewpoint;
    double bearing_deg, radius_km;
  } rows[] = {
      {"pole, any bearing", pole, 77, 6399.5936258},
      {"equator, north", equator, 0, 6335.439327},
      {"equator, south", equator, 180, 6335.439327},
      {"equator, east", equator, 90, 6378.137},
      {"equator, west", equator, 270, 6378.137},
      // Euler: 2 M N / (M + N) half-way between.
      {"equator, north-east", equator, 45, 6356.716465},
  };
  for (const auto& row : rows) {
    EXPECT_NEAR(row.viewpoint.radius_km(row.bearing_deg), row.radius_km, 1e-6) << row.name;
    const double effective_km = row.radius_km * 4 / 3;
    const double by_hand_km =
        effective_km * (std::acos(effective_km / (effective_km + 0.010)) +
                        std::acos(effective_km / (effective_km + 38'000 * 0.0003048)));
    EXPECT_NEAR(row.viewpoint.horizon_km(row.bearing_deg, 38'000), by_hand_km, 1e-4) << row.name;
  }
}

TEST(Horizon, BelowTheSurfaceThereIsNone) {
  EXPECT_EQ(horizon_km(reference_radius_km, k_standard, -5, -100), 0);
  EXPECT_EQ(ray_horizon_km(reference_radius_km, {}, -5, -100), 0);
  EXPECT_GT(horizon_km(reference_radius_km, k_standard, -5, 100), 0);
}

// Without air a ray is straight: the geometric horizon.
TEST(Horizon, OfARayThroughNoAirIsGeometric) {
  EXPECT_NEAR(ray_horizon_km(reference_radius_km, {0, 7.35}, 10, 12'192),
              horizon_km(reference_radius_km, 1, 10, 12'192), 1e-9);
}

TEST(Limit, NamesItsMethodAndGivesItsHorizon) {
  const Viewpoint standard(*GeoPoint::make(52.1, 19.4, 12));
  const Viewpoint straight(*GeoPoint::make(52.1, 19.4, 12), 1.0);
  const Viewpoint steep(*GeoPoint::make(52.1, 19.4, 12), 1.45);
  const auto limit = effective_earth_limit(standard);
  EXPECT_EQ(limit->method(), "4/3 Earth");
  EXPECT_EQ(effective_earth_limit(straight)->method(), "geometric");
  EXPECT_EQ(effective_earth_limit(steep)->method(), "1.45 Earth");
  EXPECT_EQ(limit->limit_km(38, 36'000), standard.horizon_km(38, 36'000));
  const auto ray = ray_limit(standard);
  ASSERT_TRUE(ray);
  EXPECT_EQ((*ray)->method(), "ray, ITU-R P.453");
  EXPECT_NEAR((*ray)->limit_km(38, 36'000),
              ray_horizon_km(standard.radius_km(38), {}, 12, 36'000 * metres_per_foot), 1e-9);
}

TEST(Limit, RefusesAnAtmosphereWithoutAHorizon) {
  const Viewpoint viewpoint(*GeoPoint::make(52.1, 19.4, 12));
  const auto duct = ray_limit(viewpoint, {400, 1.0});
  ASSERT_FALSE(duct);
  EXPECT_EQ(duct.error().line(),
            "refractivity 400 over a scale height of 1 km bends rays back to the ground: there is "
            "no horizon; take a larger scale height");
  EXPECT_FALSE(ray_limit(viewpoint, {-1, 7.35}));
  EXPECT_FALSE(ray_limit(viewpoint, {315, 0}));
}

}  // namespace
}  // namespace roundel::site
