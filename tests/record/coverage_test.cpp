// When silence is evidence, and when it is not.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

using testing::ElementsAre;
using testing::Pair;

constexpr std::int64_t s0 = static_cast<std::int64_t>(t0_s);

TEST(Coverage, IsOneIntervalOverAnUnbrokenFeed) {
  Scene scene;
  for (int i = 0; i < 60; ++i) {
    scene.fly({Plane{}}, 7. * i + 3.5, 7. * i + 10.5);
    scene.take();
  }
  EXPECT_THAT(scene.close().coverage, ElementsAre(Pair(s0 + 3, s0 + 424)));
}

TEST(Coverage, AnInterruptionLeavesNoSilentCellsAndCutsItsWindows) {
  Scene scene;
  const auto planes = some_planes(3);
  scene.fly(planes, 0, 42.1);  // the last at 42.0
  scene.recorder->interrupted();
  scene.fly(planes, 87, 120);
  const Shelf& shelf = scene.close();
  for (const Plane& plane : planes) {
    const auto cells = shelf.cells_of(plane.address);
    ASSERT_EQ(cells.size(), 9U);
    EXPECT_EQ(cells[4].window, w0 + 4);
    EXPECT_EQ(cells[4].heard, 5);     // 40.0 .. 42.0
    EXPECT_EQ(cells[4].expected, 4);  // two seconds
    EXPECT_EQ(cells[5].window, w0 + 8);
    EXPECT_EQ(cells[5].heard, 6);
    EXPECT_EQ(cells[5].expected, 6);  // three seconds
  }
  EXPECT_EQ(shelf.flights.size(), 3U) << "the flights go on";
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 43), Pair(s0 + 87, s0 + 120)));
}

TEST(Coverage, AFeedThatDiesSilentlyLeavesNoSilentCells) {
  // Four aircraft, each heard twice a second; nothing for 50 s, no word of an interruption.
  Scene scene;
  const auto planes = some_planes(4);
  scene.fly(planes, 0, 103);
  scene.fly(planes, 154, 300);
  const Shelf& shelf = scene.close();
  for (const Plane& plane : planes) {
    EXPECT_EQ(shelf.cells_of(plane.address).size(), 26U);  // 0 .. 10, 15 .. 29
    EXPECT_EQ(shelf.cell_of(plane.address, w0 + 10)->heard, 6);
    EXPECT_EQ(shelf.cell_of(plane.address, w0 + 10)->expected, 5);  // until the report at 102.5
    EXPECT_EQ(shelf.cell_of(plane.address, w0 + 15)->heard, 12);
    EXPECT_EQ(shelf.cell_of(plane.address, w0 + 15)->expected, 12);
  }
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 103), Pair(s0 + 154, s0 + 300)));
}

TEST(Coverage, OneAircraftBehindAWallIsSilenceAndCounts) {
  Scene scene;
  scene.fly({Plane{}}, 0, 100);
  scene.fly({Plane{}}, 150, 250);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells.size(), 25U);
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0 + 12)->heard, 0);
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 250)));
}

TEST(Coverage, LinesThatAreNoReportsShowThatTheFeedIsAlive) {
  Scene scene;
  const auto planes = some_planes(4);
  scene.fly(planes, 0, 100);
  for (double at = 100; at < 150; at += 1) {  // only one aircraft's reports without a position
    feed::Report bare = planes[0].at(t0_s + at);
    bare.altitude_ft.reset();
    scene.accept(bare);
  }
  scene.fly(planes, 150, 300);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells_of(planes[1].address).size(), 30U);
  EXPECT_EQ(shelf.cell_of(planes[1].address, w0 + 12)->heard, 0);
  EXPECT_EQ(shelf.cells_of(planes[0].address).size(), 25U) << "it was heard";
}

TEST(Coverage, FiveMinutesWithoutALineBreakIt) {
  for (const auto& [gap_s, n_rows] : {std::pair{299., 1U}, {310., 2U}}) {
    Scene scene;
    scene.fly({Plane{}}, 0, 30);
    scene.fly({Plane{}}, 29.5 + gap_s, 60 + gap_s);
    EXPECT_EQ(scene.close().coverage.size(), n_rows) << gap_s;
  }
}

TEST(Coverage, AStormOfReconnectionsMakesNoMoreRowsThanSeconds) {
  Scene scene;
  const Plane plane;
  for (int i = 0; i < 6000; ++i) {
    scene.accept(plane.at(t0_s + 0.01 * i));
    scene.recorder->interrupted();
  }
  const Shelf& shelf = scene.close();
  EXPECT_LE(shelf.coverage.size(), 60U);
  std::int64_t end = 0;
  for (const auto& [from_s, to_s] : shelf.coverage) {
    EXPECT_GE(from_s, end);
    EXPECT_GT(to_s, from_s);
    end = to_s;
  }
  EXPECT_EQ(shelf.unaccounted(), 0);
}

}  // namespace
}  // namespace roundel::record
