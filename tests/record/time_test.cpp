// The feed's clock: late, early and wrong times, and what has been recorded before.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

using testing::ElementsAre;
using testing::Pair;

constexpr std::int64_t s0 = static_cast<std::int64_t>(t0_s);

TEST(FeedTime, DecidesNotTheComputersClock) {
  // Replayed a year later, a hundred times as fast: the same, to the cell.
  Scene live, replay;
  const auto planes = some_planes(4);
  for (double at = 0; at < 600; at += 0.5) {
    for (const Plane& plane : planes) {
      live.recorder->accept(plane.at(t0_s + at), t0_s + at + 0.3);
      replay.recorder->accept(plane.at(t0_s + at), t0_s + 3.2e7 + at / 100);
    }
  }
  const Shelf& a = live.close();
  const Shelf& b = replay.close();
  ASSERT_EQ(a.cells.size(), 240U);
  ASSERT_EQ(b.cells.size(), 240U);
  for (const auto& [key, cell] : a.cells) {
    EXPECT_EQ(cell.heard, b.cells.at(key).heard);
    EXPECT_EQ(cell.expected, b.cells.at(key).expected);
  }
  EXPECT_EQ(a.tally, b.tally);
  EXPECT_EQ(a.coverage, b.coverage);
}

TEST(FeedTime, IsOfArrivalWhereReportsCarryNone) {
  Scene scene;
  const Plane plane;
  for (double at = 0; at < 30; at += 0.5) {
    feed::Report report = plane.at(t0_s + at);
    report.time_s.reset();
    scene.recorder->accept(report, t0_s + at);
  }
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells.size(), 3U);
  EXPECT_EQ(shelf.cell_of(plane.address, w0)->heard, 20);
}

TEST(FeedTime, IsOfArrivalWhereAskedFor) {
  Scene scene({.clock_is_arrival = true});
  const Plane plane;
  for (double at = 0; at < 30; at += 0.5) {
    feed::Report report = plane.at(t0_s + at);
    report.time_s = 12.0;
    scene.recorder->accept(report, t0_s + at);
  }
  EXPECT_EQ(scene.close().cells.size(), 3U);
}

TEST(FeedTime, MoreThanAMinuteBehindIsStale) {
  Scene scene;
  Plane late{.address = 0x4b0001, .latitude_deg = 52.9};
  scene.fly({Plane{}}, 0, 200);  // newest: 199.5
  scene.accept(late.at(t0_s + 139.4));
  scene.accept(late.at(t0_s + 139.6));
  scene.accept(late.at(t0_s + 140.1));
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stale"), 1);
  EXPECT_EQ(shelf.cells_of(late.address).size(), 2U);
}

TEST(FeedTime, OutOfOrderByHalfAMinuteIsFine) {
  std::mt19937 random(7);
  const auto planes = some_planes(6);
  std::vector<std::pair<double, feed::Report>> order;
  for (double at = 0; at < 900; at += 0.5) {
    for (std::size_t i = 0; i < planes.size(); ++i) {
      // Off by some hundredths each, as no two reports share their time; some windows unheard.
      if (i == 2 && std::fmod(at, 100) > 50) continue;
      const double time_s = t0_s + at + 0.01 * static_cast<double>(i);
      order.emplace_back(at, planes[i].at(time_s));
    }
  }
  Scene straight;
  for (const auto& [at, report] : order) straight.accept(report);
  std::uniform_real_distribution<double> delay_s(0, 30);
  for (auto& [at, report] : order) at += delay_s(random);
  std::ranges::stable_sort(order, {}, [](const auto& one) { return one.first; });
  Scene shuffled;
  for (const auto& [at, report] : order) shuffled.accept(report);
  const Shelf& a = straight.close();
  const Shelf& b = shuffled.close();
  EXPECT_EQ(a.tally, b.tally);
  EXPECT_EQ(a.coverage, b.coverage);
  ASSERT_EQ(a.cells.size(), b.cells.size());
  for (const Plane& plane : planes) {
    const auto cells_a = a.cells_of(plane.address), cells_b = b.cells_of(plane.address);
    ASSERT_EQ(cells_a.size(), cells_b.size());
    for (std::size_t i = 0; i < cells_a.size(); ++i) {
      EXPECT_EQ(cells_a[i].window, cells_b[i].window);
      EXPECT_EQ(cells_a[i].heard, cells_b[i].heard);
      EXPECT_EQ(cells_a[i].expected, cells_b[i].expected);
      EXPECT_NEAR(cells_a[i].latitude_deg, cells_b[i].latitude_deg, 1e-9);
      EXPECT_NEAR(cells_a[i].longitude_deg, cells_b[i].longitude_deg, 1e-9);
      EXPECT_NEAR(cells_a[i].uncertainty_km, cells_b[i].uncertainty_km, 1e-9);
    }
  }
}

TEST(FeedTime, OneReportFromTheFutureDoesNotMoveTheClock) {
  for (const double ahead_s : {61., 3600., 3.2e7}) {
    Scene scene;
    const Plane plane;
    scene.fly({plane}, 0, 30);
    feed::Report wild = plane.at(t0_s + 30.1);
    wild.time_s = t0_s + 30 + ahead_s;
    scene.accept(wild);
    scene.fly({plane}, 30, 60);
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.count("future"), 1) << ahead_s;
    EXPECT_EQ(shelf.count("stored"), 120);
    EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 60)));
  }
}

TEST(FeedTime, AReportHalfAMinuteAheadDoesNotMakeTheOthersLate) {
  Scene scene;
  const Plane plane;
  scene.fly({plane}, 0, 30);
  for (int i = 1; i < 20; ++i) {  // one in ten is 50 s ahead
    feed::Report wild = Plane{.address = 0x4b0002, .latitude_deg = 51.8}.at(t0_s + 30. + 5 * i);
    wild.time_s = *wild.time_s + 50;
    scene.accept(wild);
    scene.fly({plane}, 25 + 5 * i, 30 + 5 * i);
  }
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stale"), 0);
  EXPECT_EQ(shelf.cell_of(plane.address, w0 + 9)->heard, 20);
}

TEST(FeedTime, AWrongTimeDoesNotMakeRoomForOneFurtherOff) {
  Scene scene;
  const Plane plane;
  scene.fly({plane}, 0, 30);
  for (const double ahead_s : {50., 100.}) {
    feed::Report wild = Plane{.address = 0x4b0002, .latitude_deg = 51.8}.at(t0_s + 30);
    wild.time_s = t0_s + 30 + ahead_s;
    scene.accept(wild);
    scene.fly({plane}, 30 + (ahead_s - 50) / 10, 35 + (ahead_s - 50) / 10);
  }
  EXPECT_EQ(scene.close().count("future"), 1) << "100 s ahead of all the others";
}

TEST(FeedTime, LeapsWhereThreeReportsOfTheNewTimeFollowEachOther) {
  // A recording with an hour missing.
  Scene scene;
  const auto planes = some_planes(3);
  scene.fly(planes, 0, 60);
  scene.fly(some_planes(3, 3600), 3660, 3720);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("future"), 0);
  EXPECT_EQ(shelf.count("stored"), 2 * 3 * 120);
  EXPECT_EQ(shelf.flights.size(), 6U);
  EXPECT_EQ(shelf.cells.size(), 36U);
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 60), Pair(s0 + 3660, s0 + 3720)));
}

TEST(FeedTime, LeapsForOneAircraftAloneHeardNowAndThen) {
  // Far out, every 90 s: each report is more than a minute after the one before.
  Scene scene;
  const Plane plane{.north_km_s = 0.1, .east_km_s = 0};
  for (int i = 0; i < 12; ++i) scene.accept(plane.at(t0_s + 90. * i));
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stored"), 12);
  EXPECT_EQ(shelf.flights.size(), 1U);
  EXPECT_EQ(shelf.cells.size(), 100U) << "windows 0 .. 99, silent ones between";
}

TEST(FeedTime, AWrongTimeAtTheVeryStartIsOutvoted) {
  Scene scene;
  const Plane plane;
  feed::Report wild = plane.at(t0_s - 0.2);
  wild.time_s = t0_s + 3.2e7;
  scene.accept(wild);
  scene.fly({plane}, 0, 30);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("future"), 1);
  EXPECT_EQ(shelf.count("stored"), 60);
}

TEST(FeedTime, FollowsAClockThatWasSetBack) {
  // The receiver had no time at first, and thought it was a day later.
  Scene scene;
  const auto planes = some_planes(3);
  for (double at = 0; at < 60; at += 0.5) {
    for (const Plane& plane : planes) {
      feed::Report report = plane.at(t0_s + at);
      report.time_s = t0_s + at + 86'400;
      scene.accept(report);
    }
  }
  scene.fly(planes, 60, 200);
  const Shelf& shelf = scene.close();
  // Until ten seconds of the new time have been seen: 3 in 0.5 s.
  EXPECT_EQ(shelf.count("stale"), 60);
  EXPECT_EQ(shelf.count("stored"), 3 * 120 + 3 * 280 - 60);
  EXPECT_EQ(shelf.unaccounted(), 0);
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0 + 70, s0 + 200), Pair(s0 + 86'400, s0 + 86'460)));
}

TEST(FeedTime, SetBackIntoRecordedTimeAddsNothingUntilItIsPassed) {
  Scene scene;
  const auto planes = some_planes(3);
  scene.fly(planes, 0, 300);
  scene.fly(planes, 0, 400);  // played again from the start, and on
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stale") + shelf.count("already_recorded"), 3 * 600);
  EXPECT_EQ(shelf.count("stored"), 3 * 800);
  EXPECT_THAT(shelf.coverage, ElementsAre(Pair(s0, s0 + 300), Pair(s0 + 300, s0 + 400)));
  for (const auto& [key, cell] : shelf.cells) EXPECT_LE(cell.heard, 20);
}

TEST(FeedTime, SetBackByLessThanAMinuteIsNoticed) {
  Scene scene;
  const auto planes = some_planes(3);
  scene.fly(planes, 0, 300);
  for (double at = 300; at < 400; at += 0.5) {  // the clock is now 50 s behind what it was
    for (const Plane& plane : planes) {
      feed::Report report = plane.at(t0_s + at);
      report.time_s = t0_s + at - 50;
      scene.accept(report);
    }
  }
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("already_recorded"), 3 * 70) << "from 265 s, when it was noticed, to 300 s";
  EXPECT_EQ(shelf.cell_of(planes[0].address, w0 + 32)->heard, 20);
  EXPECT_EQ(shelf.cell_of(planes[0].address, w0 + 28)->heard, 20);
}

TEST(AlreadyRecorded, AFileLoadedTwiceAddsNothing) {
  Scene first;
  const auto planes = some_planes(3);
  first.fly(planes, 0, 605.7);
  const Shelf once = first.close();

  Scene second({}, once);
  second.fly(planes, 0, 605.7);
  second.recorder->close();
  const schema::Batch batch = second.recorder->take();
  EXPECT_TRUE(batch.cells.empty());
  EXPECT_TRUE(batch.flights.empty());
  EXPECT_TRUE(batch.coverage.empty());
  EXPECT_EQ(batch.tally, (schema::Tally{{"received", 3 * 1212}, {"already_recorded", 3 * 1212}}));
}

TEST(AlreadyRecorded, AnOverlappingFileAddsWhatIsNew) {
  Scene first;
  const auto planes = some_planes(3);
  first.fly(planes, 100, 200);
  Scene second({}, first.close());
  second.fly(planes, 0, 300);
  const Shelf& shelf = second.close();
  EXPECT_EQ(shelf.count("already_recorded"), 3 * 200);
  EXPECT_EQ(shelf.count("stored"), 3 * 600);
  EXPECT_EQ(shelf.cells.size(), 90U) << "no silent cells where the other file was recorded";
  for (const auto& [key, cell] : shelf.cells) EXPECT_GE(cell.heard, 19);
  EXPECT_THAT(shelf.coverage,
              ElementsAre(Pair(s0, s0 + 100), Pair(s0 + 100, s0 + 200), Pair(s0 + 200, s0 + 300)));
}

TEST(AlreadyRecorded, AnOlderFileIsLoadedBesideOpenFlights) {
  Scene live;
  const auto planes = some_planes(3);
  live.fly(some_planes(3, 10'000), 10'000, 10'100);
  live.take();  // killed here
  Scene older = Scene::resumed(live.shelf);
  older.fly(planes, 0, 100);
  const Shelf& shelf = older.close();
  EXPECT_EQ(shelf.flights.size(), 6U);
  EXPECT_EQ(shelf.cells.size(), 60U);
  for (const auto& [id, row] : shelf.flights) EXPECT_TRUE(row.last_window);
}

}  // namespace
}  // namespace roundel::record
