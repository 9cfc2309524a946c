// Cells, flights and silent cells of plain traffic; counts are worked out by hand.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

TEST(Cells, TwoReportsASecondFillATenSecondWindowWithTwenty) {
  Scene scene;
  scene.fly({Plane{}}, 0, 40);
  const Shelf& shelf = scene.close();
  ASSERT_EQ(shelf.cells.size(), 4U);
  for (const auto& [key, cell] : shelf.cells) {
    EXPECT_EQ(cell.heard, 20);
    EXPECT_EQ(cell.uncertainty_km, 0);
  }
  EXPECT_EQ(shelf.count("received"), 80);
  EXPECT_EQ(shelf.count("stored"), 80);
  EXPECT_EQ(shelf.unaccounted(), 0);
  // Whole windows have every chance; the last ended with the last report, half a second early.
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0)->expected, 20);
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0 + 2)->expected, 20);
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0 + 3)->expected, 19);
}

TEST(Cells, HoldTheMeanPositionAltitudeAndSignal) {
  Scene scene;
  Plane plane;
  plane.signal_dbfs = -20;
  for (int i = 0; i < 20; ++i) {
    feed::Report report = plane.at(t0_s + 0.5 * i);
    report.altitude_ft = 30'000 + 100 * i;        // mean 30 950
    report.signal_dbfs = i % 2 == 0 ? -20 : -24;  // mean -22
    scene.accept(report);
  }
  const auto cell = scene.close().cell_of(0x4b1617, w0);
  ASSERT_TRUE(cell);
  const feed::Report middle = plane.at(t0_s + 4.75);
  EXPECT_NEAR(cell->latitude_deg, middle.latitude_deg, 1e-9);
  EXPECT_NEAR(cell->longitude_deg, middle.longitude_deg, 1e-9);
  EXPECT_NEAR(cell->altitude_ft, 30'950, 1e-6);
  EXPECT_NEAR(*cell->signal_dbfs, -22, 1e-9);
}

TEST(Cells, WithoutSignalInTheFeedHaveNone) {
  Scene scene;
  Plane plane;
  plane.signal_dbfs.reset();
  scene.fly({plane}, 0, 10);
  EXPECT_FALSE(scene.close().cell_of(0x4b1617, w0)->signal_dbfs);
}

TEST(Cells, TheSamePositionAgainIsARepeat) {
  Scene scene;
  const Plane plane;
  for (int i = 0; i < 20; ++i) {
    scene.accept(plane.at(t0_s + 0.5 * i));
    feed::Report again = plane.at(t0_s + 0.5 * i);
    again.time_s = *again.time_s + 0.2;
    scene.accept(again);
  }
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stored"), 20);
  EXPECT_EQ(shelf.count("repeat"), 20);
  EXPECT_EQ(shelf.count("received"), 40);
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0)->heard, 20);
}

TEST(Cells, CountNoMoreThanTheyCanHold) {
  Scene scene;
  const Plane plane;
  for (int i = 0; i < 400; ++i) scene.accept(plane.at(t0_s + 0.025 * i));
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cell_of(0x4b1617, w0)->heard, 255);
  EXPECT_EQ(shelf.count("stored"), 400);
}

// Other traffic keeps the feed alive, at the other side of the site.
Plane companion() {
  Plane plane;
  plane.address = 0x300001;
  plane.latitude_deg = 51.5;
  return plane;
}

TEST(SilentCells, StandBetweenHeardOnesAtMostFiveMinutesApart) {
  Scene scene;
  const Plane plane;
  scene.fly({plane, companion()}, 0, 20);     // windows 0, 1
  scene.fly({companion()}, 20, 310);          // silent in 2 .. 30
  scene.fly({plane, companion()}, 310, 330);  // windows 31, 32: 300 s after window 1
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.flights.size(), 2U);
  ASSERT_EQ(shelf.cells_of(plane.address).size(), 33U);
  for (std::int64_t w = 2; w <= 30; ++w) {
    const auto cell = shelf.cell_of(plane.address, w0 + w);
    ASSERT_TRUE(cell) << w;
    EXPECT_EQ(cell->heard, 0);
    EXPECT_EQ(cell->expected, 20);
    EXPECT_EQ(cell->uncertainty_km, 0);
    // On a great circle; the plane keeps its latitude, 69 km: 50 m apart, 0.0005 degrees.
    const feed::Report there = plane.at(t0_s + 10. * static_cast<double>(w) + 5);
    EXPECT_NEAR(cell->latitude_deg, there.latitude_deg, 0.002);
    EXPECT_NEAR(cell->longitude_deg, there.longitude_deg, 0.001);
    EXPECT_NEAR(cell->altitude_ft, 36'000, 1e-6);
  }
}

TEST(SilentCells, AreNotWrittenAcrossLongerGapsWithATurn) {
  Scene scene;
  Plane plane;
  scene.fly({plane, companion()}, 0, 60);
  scene.fly({companion()}, 60, 700);
  // Comes back from where straight flight would not have brought it: 50 km north.
  plane.latitude_deg += 0.45;
  scene.fly({plane, companion()}, 700, 760);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells_of(plane.address).size(), 12U);
  EXPECT_EQ(shelf.flights.size(), 2U) << "still one flight";
}

TEST(SilentCells, AreInferredAcrossUpToThirtyMinutesOfStraightFlight) {
  Scene scene;
  const Plane plane;
  scene.fly({plane, companion()}, 0, 60);       // windows 0 .. 5
  scene.fly({companion()}, 60, 1260);           // 6 .. 125
  scene.fly({plane, companion()}, 1260, 1320);  // 126 .. 131
  const Shelf& shelf = scene.close();
  ASSERT_EQ(shelf.cells_of(plane.address).size(), 132U);
  double largest_km = 0;
  for (std::int64_t w = 6; w <= 125; ++w) {
    const auto cell = shelf.cell_of(plane.address, w0 + w);
    ASSERT_TRUE(cell) << w;
    EXPECT_EQ(cell->heard, 0);
    EXPECT_GT(cell->uncertainty_km, 0);
    largest_km = std::max(largest_km, cell->uncertainty_km);
  }
  EXPECT_GT(largest_km, shelf.cell_of(plane.address, w0 + 7)->uncertainty_km);
  EXPECT_GT(largest_km, 1) << "20 min unseen";
}

TEST(SilentCells, AreNotWrittenWhereTheAircraftWasHeardButNotCounted) {
  Scene scene;
  const Plane plane;
  scene.fly({plane, companion()}, 0, 20);
  for (int i = 0; i < 20; ++i) {  // windows 2, 3: positions without an altitude
    feed::Report bare = plane.at(t0_s + 20 + i);
    bare.altitude_ft.reset();
    scene.accept(bare);
    scene.accept(companion().at(t0_s + 20 + i));
  }
  scene.fly({companion()}, 40, 50);
  scene.fly({plane, companion()}, 50, 70);
  const Shelf& shelf = scene.close();
  EXPECT_FALSE(shelf.cell_of(plane.address, w0 + 2));
  EXPECT_FALSE(shelf.cell_of(plane.address, w0 + 3));
  ASSERT_TRUE(shelf.cell_of(plane.address, w0 + 4));
  EXPECT_EQ(shelf.cell_of(plane.address, w0 + 4)->heard, 0);
  EXPECT_EQ(shelf.count("no_altitude"), 20);
}

TEST(Flights, EndAfterThirtyMinutesOfSilence) {
  for (const auto& [gap_windows, n_flights] : {std::pair{180, 1U}, {181, 2U}}) {
    Scene scene;
    const Plane plane{.east_km_s = 0.1};
    const double back_s = 10 + 10. * (gap_windows - 1);
    scene.fly({plane, companion()}, 0, 10);
    scene.fly({companion()}, 10, back_s);
    scene.fly({plane, companion()}, back_s, back_s + 10);
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.flights.size(), 1 + n_flights) << gap_windows;
    for (const auto& [id, row] : shelf.flights) EXPECT_TRUE(row.last_window);
  }
}

TEST(Flights, KnowTheirFirstAndLastWindow) {
  Scene scene;
  scene.fly({Plane{}}, 25, 61);
  const Shelf& shelf = scene.close();
  ASSERT_EQ(shelf.flights.size(), 1U);
  const schema::Flight& flight = shelf.flights.begin()->second;
  EXPECT_EQ(flight.id, 1);
  EXPECT_EQ(flight.trial, 1);
  EXPECT_EQ(flight.address, 0x4b1617U);
  EXPECT_EQ(flight.first_window, w0 + 2);
  EXPECT_EQ(flight.last_window, w0 + 6);
}

TEST(Trials, AChangeSplitsTheFlightAndTheWindow) {
  Scene scene;
  scene.recorder->set_trials({trial(1, t0_s - 100, t0_s + 24), trial(2, t0_s + 24)});
  scene.fly({Plane{}}, 0, 50);
  const Shelf& shelf = scene.close();
  ASSERT_EQ(shelf.flights.size(), 2U);
  const schema::Cell before = shelf.cells.at({1, w0 + 2}), after = shelf.cells.at({2, w0 + 2});
  EXPECT_EQ(before.heard, 8);
  EXPECT_EQ(before.expected, 8);
  EXPECT_EQ(after.heard, 12);
  EXPECT_EQ(after.expected, 12);
  EXPECT_EQ(shelf.flights.at(1).last_window, w0 + 2);
  EXPECT_EQ(shelf.flights.at(2).first_window, w0 + 2);
}

TEST(Trials, ReportsWhileNothingIsMountedAreCounted) {
  Scene scene;
  scene.recorder->set_trials({trial(1, t0_s - 100, t0_s + 10), trial(2, t0_s + 20)});
  scene.fly({Plane{}}, 0, 30);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("no_trial"), 20);
  EXPECT_EQ(shelf.count("stored"), 40);
  EXPECT_EQ(shelf.unaccounted(), 0);
  EXPECT_EQ(shelf.coverage, (std::map<std::int64_t, std::int64_t>{{1'764'000'000, 1'764'000'010},
                                                                  {1'764'000'020, 1'764'000'030}}));
}

TEST(Trials, AChangeKnownLateTakesEffectFromThenOn) {
  Scene scene;
  scene.fly({Plane{}}, 0, 25);
  // Started at 20 s, but the recorder learns of it at 25 s.
  scene.recorder->set_trials({trial(1, t0_s - 100, t0_s + 20), trial(2, t0_s + 20)});
  scene.fly({Plane{}}, 25, 40);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells.at({1, w0 + 2}).heard, 10);
  EXPECT_EQ(shelf.cells.at({1, w0 + 2}).expected, 10);
  EXPECT_EQ(shelf.cells.at({2, w0 + 2}).heard, 10);
  EXPECT_EQ(shelf.cells.at({2, w0 + 2}).expected, 10);
}

}  // namespace
}  // namespace roundel::record
