// Positions put one ambiguity cell off by local decoding.
#include "daemon/record/folding.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

// A coder and a local decoder of compact positions, written for this test by the formulas of ICAO
// Annex 10 Vol IV / RTCA DO-260B (airborne, 17 bits; from memory), independent of the recorder's.
namespace coding {

double mod(double a, double b) { return a - b * std::floor(a / b); }

// By transition latitudes, not by the formula: the highest latitude with n zones.
int zones(double latitude_deg) {
  const double pi = std::numbers::pi;
  const double latitude = std::abs(latitude_deg);
  for (int n = 59; n >= 2; --n) {
    const double transition_deg =
        180 / pi * std::acos(std::sqrt((1 - std::cos(pi / 30)) / (1 - std::cos(2 * pi / n))));
    if (latitude < transition_deg) return n;
  }
  return 1;
}

struct Message {
  int odd;
  double latitude, longitude;  // fractions of a zone, to 17 bits
};

Message encode(const site::Place& place, int odd) {
  const double scale = 131'072;
  const double zone_latitude = 360. / (60 - odd);
  const double y = std::floor(scale * mod(place.latitude_deg, zone_latitude) / zone_latitude + 0.5);
  const double decoded_latitude =
      zone_latitude * (y / scale + std::floor(place.latitude_deg / zone_latitude));
  const double zone = 360. / std::max(zones(decoded_latitude) - odd, 1);
  const double x = std::floor(scale * mod(place.longitude_deg, zone) / zone + 0.5);
  return {odd, mod(y, scale) / scale, mod(x, scale) / scale};
}

site::Place decode(const Message& message, const site::Place& reference) {
  const double zone_latitude = 360. / (60 - message.odd);
  const double j = std::floor(reference.latitude_deg / zone_latitude) +
                   std::floor(0.5 + mod(reference.latitude_deg, zone_latitude) / zone_latitude -
                              message.latitude);
  const double latitude = zone_latitude * (j + message.latitude);
  const double zone = 360. / std::max(zones(latitude) - message.odd, 1);
  const double m = std::floor(reference.longitude_deg / zone) +
                   std::floor(0.5 + mod(reference.longitude_deg, zone) / zone - message.longitude);
  return {latitude, site::wrap_longitude_deg(zone * (m + message.longitude))};
}

}  // namespace coding

TEST(LongitudeZones, AreThoseOfTheTransitionLatitudes) {
  // Transition latitudes as printed in the standard's table (from memory): 10.47047130 from 59
  // zones to 58, 86.53536998 from 3 to 2, 87.00000000 from 2 to 1.
  EXPECT_EQ(longitude_zones(0), 59);
  EXPECT_EQ(longitude_zones(10.4704), 59);
  EXPECT_EQ(longitude_zones(10.4705), 58);
  EXPECT_EQ(longitude_zones(-10.4705), 58);
  EXPECT_EQ(longitude_zones(86.5353), 3);
  EXPECT_EQ(longitude_zones(86.5354), 2);
  EXPECT_EQ(longitude_zones(87), 2);
  EXPECT_EQ(longitude_zones(87.0001), 1);
  EXPECT_EQ(longitude_zones(90), 1);
  for (double latitude = -89.99; latitude < 90; latitude += 0.0173) {
    EXPECT_EQ(longitude_zones(latitude), coding::zones(latitude)) << latitude;
  }
}

TEST(Unfold, BringsBackWhateverLocalDecodingHasFolded) {
  std::mt19937 random(11);
  std::uniform_real_distribution<double> site_latitude(-75, 75), longitude(-180, 180);
  std::uniform_real_distribution<double> range(345, 460), bearing(0, 2 * std::numbers::pi);
  int n_folded = 0;
  for (int i = 0; i < 4000; ++i) {
    const site::Place antenna{site_latitude(random), longitude(random)};
    const double far_deg = range(random) / 111.195, towards = bearing(random);
    const site::Place aircraft{
        antenna.latitude_deg + far_deg * std::cos(towards),
        site::wrap_longitude_deg(antenna.longitude_deg +
                                 far_deg * std::sin(towards) /
                                     std::cos(antenna.latitude_deg * std::numbers::pi / 180))};
    if (std::abs(aircraft.latitude_deg) > 80) continue;
    const site::Place fix = coding::decode(coding::encode(aircraft, i % 2), antenna);
    const auto unfolded = unfold(fix, aircraft, 5);
    if (site::are_within(fix, aircraft, 0.1)) {
      EXPECT_FALSE(unfolded);
      continue;
    }
    ++n_folded;
    ASSERT_TRUE(unfolded) << antenna.latitude_deg << ' ' << aircraft.latitude_deg;
    EXPECT_LT(site::distance_km(*unfolded, aircraft), 0.02);  // 17 bits: 5 m
  }
  EXPECT_GT(n_folded, 1000);
}

TEST(Unfold, DoesNotTakeEveryWildFixForAFoldedOne) {
  std::mt19937 random(12);
  std::uniform_real_distribution<double> off(-4, 4);
  const site::Place aircraft{54.6, 20.1};
  int n_taken = 0;
  for (int i = 0; i < 2000; ++i) {
    const site::Place wild{52.1 + off(random), 19.4 + 1.6 * off(random)};
    if (unfold(wild, aircraft, 2)) ++n_taken;
  }
  EXPECT_LE(n_taken, 4);
}

// What a receiver at Hill house makes of a track when it decodes locally.
feed::Report locally_decoded(const Plane& plane, double time_s, int odd) {
  feed::Report report = plane.at(time_s);
  const site::Place fix = coding::decode(
      coding::encode({report.latitude_deg, report.longitude_deg}, odd), {52.1, 19.4});
  report.latitude_deg = fix.latitude_deg;
  report.longitude_deg = fix.longitude_deg;
  return report;
}

struct Outbound {
  const char* name;
  double north, east;  // direction, length 1
};

TEST(Folded, ReportsOfAnAircraftFlyingOutAreCountedPastHalfACell) {
  // From 150 km to 430 km; half a cell is 333 to 340 km away, north, south, east or west.
  const Outbound rows[] = {{"north", 1, 0},
                           {"south", -1, 0},
                           {"east", 0, 1},
                           {"west", 0, -1},
                           {"east by north", 0.2, 0.98},
                           {"north by west", 0.98, -0.2}};
  for (const Outbound& row : rows) {
    Scene scene;
    const double cos_site = std::cos(52.1 * std::numbers::pi / 180);
    const Plane plane{.latitude_deg = 52.1 + 250 / 111.195 * row.north,
                      .longitude_deg = 19.4 + 250 / 111.195 * row.east / cos_site,
                      .north_km_s = 0.25 * row.north,
                      .east_km_s = 0.25 * row.east};
    std::int64_t n_true = 0, n_folded = 0;
    for (int i = -800; i < 1440; ++i) {
      const double at = t0_s + 0.5 * i;
      const feed::Report report = locally_decoded(plane, at, i & 1);
      const feed::Report truth = plane.at(at);
      const bool is_true = site::are_within({report.latitude_deg, report.longitude_deg},
                                            {truth.latitude_deg, truth.longitude_deg}, 0.1);
      (is_true ? n_true : n_folded) += 1;
      scene.accept(report);
    }
    const Shelf& shelf = scene.close();
    ASSERT_GT(n_folded, 200) << row.name;
    EXPECT_EQ(shelf.count("folded"), n_folded) << row.name;
    EXPECT_EQ(shelf.count("stored"), n_true) << row.name;
    EXPECT_EQ(shelf.flights.size(), 1U) << row.name;
    for (const auto& [key, cell] : shelf.cells) {
      EXPECT_GT(cell.heard, 0) << row.name << ": it was heard, if elsewhere";
    }
  }
}

TEST(Folded, AnAircraftFlyingInIsRecordedFromWhereItIsBeyondDoubt) {
  // First heard 430 km north, shown south of the site; comes in and passes overhead.
  Scene scene;
  const Plane plane{.latitude_deg = 52.1 + 430 / 111.195, .north_km_s = -0.25, .east_km_s = 0.01};
  std::int64_t n_folded = 0;
  for (int i = 0; i < 4000; ++i) {
    const double at = t0_s + 0.5 * i;
    const feed::Report report = locally_decoded(plane, at, i & 1);
    if (std::abs(report.latitude_deg - plane.at(at).latitude_deg) > 1) ++n_folded;
    scene.accept(report);
  }
  EXPECT_GT(n_folded, 500);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.unaccounted(), 0);
  // Overhead it is recorded at its true place, in full.
  for (std::int64_t w = 120; w < 199; ++w) {
    const auto cell = shelf.cell_of(plane.address, w0 + w);
    ASSERT_TRUE(cell) << w;
    EXPECT_EQ(cell->heard, 20) << w;
    EXPECT_NEAR(cell->latitude_deg,
                plane.at(t0_s + 10. * static_cast<double>(w) + 4.75).latitude_deg, 0.01);
  }
}

}  // namespace
}  // namespace roundel::record
