#include "roundel/site/refraction.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "roundel/site/altitude.h"
#include "roundel/site/horizon.h"
#include "roundel/site/sightline.h"
#include "tests/reference/csv.h"

namespace roundel::site {
namespace {

constexpr double reference_radius_km = 6371;

Refraction with(RefractionMethod method, Atmosphere::Profile profile = Atmosphere::Profile::p453) {
  RefractionSettings settings;
  settings.method = method;
  settings.atmosphere.profile = profile;
  return *Refraction::make(settings);
}

// Required: the P.453 column to 0.1 %, the published P.528-5 column to 2 %; the P.835 atmosphere
// 0.6 to 0.8 km above P.528-5 (README of the reference data says why they differ).
TEST(Refraction, GivesTheHorizonsOfTheTableByEveryMethod) {
  const auto p453 = with(RefractionMethod::ray);
  const auto p835 = with(RefractionMethod::ray, Atmosphere::Profile::p835);
  const auto effective = with(RefractionMethod::effective);
  for (const auto& row : reference::rows("p528_max_line_of_sight.csv")) {
    const double h1_m = reference::number(row, "h1_m");
    const double h2_m = reference::number(row, "h2_m");
    SCOPED_TRACE(std::to_string(h1_m) + " m to " + std::to_string(h2_m) + " m");
    const double by_ray_km = p453.horizon_km(reference_radius_km, h1_m, h2_m);
    const double column_km = reference::number(row, "ray_p453_km");
    EXPECT_NEAR(by_ray_km, column_km, 0.001 * column_km);
    const double published_km = reference::number(row, "p528_d_ml_km");
    EXPECT_NEAR(by_ray_km, published_km, 0.02 * published_km);
    const double by_p835_km = p835.horizon_km(reference_radius_km, h1_m, h2_m);
    EXPECT_NEAR(by_p835_km, reference::number(row, "ray_p835_km"), 0.01);
    EXPECT_GT(by_p835_km, published_km + 0.6);
    EXPECT_LT(by_p835_km, published_km + 0.8);
    EXPECT_NEAR(effective.horizon_km(reference_radius_km, h1_m, h2_m),
                reference::number(row, "k43_acos_km"), 1e-4);
  }
}

// The first kilometre of the reference atmosphere bends like k = 1.375, so near the ground the
// handbook's 4.12 and 1.23 (4/3 Earth; Federal Standard 1037C) come out within the root of their
// ratio, 1.6 %.
TEST(Refraction, GivesTheHandbookRulesAtLowHeights) {
  const auto ray = with(RefractionMethod::ray);
  for (const double height_m : {2.0, 10.0, 30.0, 100.0, 300.0}) {
    const double range_km = ray.horizon_km(reference_radius_km, height_m, 0);
    EXPECT_NEAR(range_km / (4.12 * std::sqrt(height_m)), 1, 0.017) << height_m;
    EXPECT_NEAR(range_km / 1.852 / (1.23 * std::sqrt(height_m / 0.3048)), 1, 0.017) << height_m;
  }
}

// Total bending of a ray from the ground out of the P.453 atmosphere, computed to 30 digits
// (propagation_constants.csv). From Bouguer: bending = elevation + arc - elevation at the top.
TEST(Refraction, BendsARayAsTheExactIntegralSays) {
  const auto ray = with(RefractionMethod::ray);
  const struct {
    double elevation_deg, bending_deg;
  } rows[] = {{0, 0.75792}, {0.25, 0.67305}, {0.5, 0.60319}, {1, 0.49564},
              {2, 0.35851}, {3, 0.27669},    {5, 0.18629},   {10, 0.09927}};
  constexpr double deg = 180 / std::numbers::pi;
  constexpr double top_km = 120;
  for (const auto& row : rows) {
    const double arc = ray.range_km(reference_radius_km, 0, row.elevation_deg, 1000 * top_km) /
                       reference_radius_km;
    const double cosine = (1 + 315e-6) * reference_radius_km * std::cos(row.elevation_deg / deg) /
                          (reference_radius_km + top_km);
    EXPECT_NEAR(row.elevation_deg + arc * deg - std::acos(cosine) * deg, row.bending_deg, 2e-4)
        << row.elevation_deg;
  }
}

TEST(Refraction, ElevationAndRangeAreInverse) {
  for (const auto& refraction :
       {with(RefractionMethod::effective), with(RefractionMethod::none),
        with(RefractionMethod::ray), with(RefractionMethod::ray, Atmosphere::Profile::p835)}) {
    for (const double h1_m : {0.0, 12.0, 300.0})
      for (const double h2_m : {500.0, 3000.0, 12'000.0})
        for (const double share : {0.02, 0.2, 0.5, 0.9, 0.99}) {
          const double range_km = share * refraction.horizon_km(reference_radius_km, h1_m, h2_m);
          const double elevation_deg =
              refraction.elevation_deg(reference_radius_km, h1_m, h2_m, range_km);
          EXPECT_NEAR(refraction.range_km(reference_radius_km, h1_m, elevation_deg, h2_m), range_km,
                      1e-5 * range_km)
              << refraction.method() << ' ' << h1_m << ' ' << h2_m << ' ' << share;
        }
  }
}

// Bending lifts: 0.2 degrees at 300 km and 11 000 m (the difference of half the bending angles of
// the row above and of straight lines; common practice gives a quarter of the arc's 2.7 degrees
// halved, 0.34 for k = 4/3).
TEST(Refraction, AirLiftsWhatIsSeen) {
  const double straight_deg =
      with(RefractionMethod::none).elevation_deg(reference_radius_km, 10, 11'000, 300);
  const double bent_deg =
      with(RefractionMethod::effective).elevation_deg(reference_radius_km, 10, 11'000, 300);
  const double traced_deg =
      with(RefractionMethod::ray).elevation_deg(reference_radius_km, 10, 11'000, 300);
  // 300 km of arc is 2.698 degrees, of which a quarter is taken away by k = 4/3; half of that.
  EXPECT_NEAR(bent_deg - straight_deg, 2.698 / 8, 0.01);
  EXPECT_GT(traced_deg, straight_deg + 0.2);
  EXPECT_LT(traced_deg, bent_deg);
}

// cos(dip) = R k / (R k + h): 1.76 minutes of arc per root metre for the plain Earth's 1.93 and
// 4/3 (Bowditch, American Practical Navigator: dip 1.76' sqrt(h m), from memory; light bends less).
TEST(Refraction, TheHorizonDipsBelowTheHorizontal) {
  EXPECT_NEAR(with(RefractionMethod::none).dip_deg(reference_radius_km, 100) * 60, -19.26, 0.02);
  EXPECT_NEAR(with(RefractionMethod::effective).dip_deg(reference_radius_km, 100) * 60,
              -19.26 * std::sqrt(0.75), 0.02);
  EXPECT_EQ(with(RefractionMethod::ray).dip_deg(reference_radius_km, 0), 0);
}

TEST(Refraction, NamesWhatItCannotDo) {
  RefractionSettings settings;
  settings.k = 0.1;
  EXPECT_EQ(Refraction::make(settings).error().line(),
            "effective-Earth factor 0.1 is outside 0.5 to 10");
  settings.k = 4.0 / 3;
  settings.atmosphere = {400, 1.0};
  EXPECT_EQ(Refraction::make(settings).error().line(),
            "refractivity 400 over a scale height of 1 km bends rays back to the ground: there is "
            "no horizon; take a larger scale height");
  EXPECT_EQ(parse_refraction("bent").error().line(),
            "--refraction: no refraction \"bent\"; choose effective, ray or none");
}

// ICAO Standard Atmosphere, Doc 7488 (table of H by pressure, from memory: 1000 hPa lies at 110.9
// m, 1030 hPa at -138.6 m, 980 hPa at 281 m).
TEST(PressureAltitude, IsOffByTheStandardHeightOfTheSeaLevelPressure) {
  EXPECT_EQ(height_offset_m(1013.25), 0);
  EXPECT_NEAR(height_offset_m(1000), -110.9, 0.2);
  EXPECT_NEAR(height_offset_m(1030), 138.6, 0.4);
  EXPECT_NEAR(height_offset_m(980), -281, 1);
}

TEST(PressureAltitude, HighPressureLiftsAircraftAndMovesTheHorizonOut) {
  const schema::SiteRow site{"Hill house", 52.1, 19.4, 110, 12, 110};
  const auto standard = *Viewpoint::from(site);
  const auto high = *Viewpoint::from(site, k_standard, 1030);
  EXPECT_NEAR(high.height_m(10'000) - standard.height_m(10'000), 138.6, 0.4);
  // 4.12 (sqrt(3076.6) - sqrt(2938)) = 5.2 km.
  EXPECT_NEAR(high.horizon_km(90, 10'000) - standard.horizon_km(90, 10'000), 5.2, 0.1);
  const auto refused = Viewpoint::from(site, k_standard, 700);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().line(), "site: sea-level pressure 700 hPa is outside 850 to 1090");
}

}  // namespace
}  // namespace roundel::site
