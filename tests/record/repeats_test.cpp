// Which positions are new where a feed prints few decimals.
#include "daemon/record/repeats.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

double rounded(double value, double per_deg) { return std::round(value * per_deg) / per_deg; }

feed::Report coarse(feed::Report report, double per_deg) {
  report.latitude_deg = rounded(report.latitude_deg, per_deg);
  report.longitude_deg = rounded(report.longitude_deg, per_deg);
  return report;
}

TEST(PositionGrid, IsFoundFromThePositions) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> at(-60, 60);
  for (const auto& [per_deg, step_deg] :
       {std::pair(1e2, 0.01), std::pair(1e3, 0.001), std::pair(1e4, 0.0001), std::pair(1e5, 0.)}) {
    PositionGrid grid;
    EXPECT_EQ(grid.step_deg(), 0) << "nothing seen yet";
    for (int i = 0; i < 300; ++i)
      grid.add({rounded(at(random), per_deg), rounded(at(random), per_deg)});
    EXPECT_DOUBLE_EQ(grid.step_deg(), step_deg);
  }
}

// Planes of 60 and 230 m/s, in eight directions. Of every plane's reports `share` is heard.
struct Heard {
  std::int64_t sent{};
  Shelf shelf;
};
Heard fly_coarse(double per_deg, double share, bool is_printed_again) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> draw(0, 1);
  Scene scene;
  Heard out;
  std::vector<Plane> planes;
  for (int i = 0; i < 16; ++i) {
    const double speed_km_s = i < 8 ? 0.06 : 0.23;
    Plane plane;
    plane.address = 0x400000U + static_cast<std::uint32_t>(i);
    plane.latitude_deg = 51.5 + 0.07 * i;
    plane.longitude_deg = 19.1 + 0.05 * i;
    plane.north_km_s = speed_km_s * std::cos(0.3 + i * 0.785);
    plane.east_km_s = speed_km_s * std::sin(0.3 + i * 0.785);
    planes.push_back(plane);
  }
  for (double at = 0; at < 1200; at += 0.5) {
    for (const Plane& plane : planes) {
      if (draw(random) >= share) continue;
      feed::Report report = coarse(plane.at(t0_s + at), per_deg);
      scene.accept(report);
      ++out.sent;
      if (!is_printed_again) continue;
      report.time_s = *report.time_s + 0.1;
      scene.accept(report);
    }
  }
  out.shelf = scene.close();
  return out;
}

TEST(Repeats, SlowAircraftWithThreeDecimalsAreHeardAsOftenAsTheyAre) {
  for (const double share : {0.9, 0.5}) {
    const Heard heard = fly_coarse(1e3, share, false);
    std::int64_t slow = 0, fast = 0;
    for (const auto& [key, cell] : heard.shelf.cells)
      (heard.shelf.flights.at(key.first).address < 0x400008 ? slow : fast) += cell.heard;
    // By equality alone the slow lose 30 to 60 %.
    EXPECT_GT(static_cast<double>(slow) / static_cast<double>(heard.sent) * 2, 0.95) << share;
    EXPECT_GT(static_cast<double>(fast) / static_cast<double>(heard.sent) * 2, 0.95) << share;
  }
}

TEST(Repeats, AreStillFoundAmongCoarsePositions) {
  const Heard once = fly_coarse(1e3, 0.7, false), twice = fly_coarse(1e3, 0.7, true);
  EXPECT_EQ(twice.shelf.count("stored"), once.shelf.count("stored"));
}

TEST(Repeats, APositionThatIsPrintedOnAfterTheLastMessageEndsWithTheTimeItAllows) {
  Scene scene;
  const Plane plane{.north_km_s = 0.1, .east_km_s = 0};
  for (double at = 0; at < 300; at += 0.5) scene.accept(coarse(plane.at(t0_s + at), 1e3));
  const auto before = scene.recorder->live().stored;
  for (double at = 300; at < 360; at += 0.5) {  // 111 m at 100 m/s: gone after 1.1 s
    feed::Report report = coarse(plane.at(t0_s + 299.5), 1e3);
    report.time_s = t0_s + at;
    scene.accept(report);
  }
  EXPECT_LE(scene.recorder->live().stored - before, 3);
}

TEST(Repeats, OfFinePositionsAreAllOfThem) {
  const Heard once = fly_coarse(1e5, 0.7, false), twice = fly_coarse(1e5, 0.7, true);
  EXPECT_EQ(once.shelf.count("repeat"), 0);
  EXPECT_EQ(twice.shelf.count("stored"), once.shelf.count("stored"));
  EXPECT_EQ(twice.shelf.count("repeat"), twice.sent);
}

TEST(FeedTraits, TellOfCoarsePositionsAndOfMoreReportsThanAnAircraftSends) {
  Scene scene;
  const auto planes = some_planes(6);
  for (double at = 0; at < 600; at += 0.25)
    for (const Plane& plane : planes) scene.accept(coarse(plane.at(t0_s + at), 1e4));
  const auto traits = scene.recorder->take().traits;
  ASSERT_TRUE(traits);
  EXPECT_DOUBLE_EQ(traits->position_step_deg, 1e-4);
  EXPECT_GT(traits->crowded_share, 0.9);

  Scene plain;
  plain.fly(planes, 0, 600);
  const auto usual = plain.recorder->take().traits;
  ASSERT_TRUE(usual);
  EXPECT_EQ(usual->position_step_deg, 0);
  EXPECT_EQ(usual->crowded_share, 0);
}

}  // namespace
}  // namespace roundel::record
