// Which reports are not believed, and why.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <random>

#include "tests/record/scene.h"

namespace roundel::record {
namespace {

Plane companion() { return {.address = 0x300001, .latitude_deg = 51.5}; }

struct Implausible {
  const char* name;
  feed::Report report;
  const char* reason;
};

feed::Report report(std::uint32_t address, double latitude_deg, double longitude_deg,
                    std::optional<double> altitude_ft, bool on_ground = false) {
  feed::Report made;
  made.time_s = t0_s + 30;
  made.address = address;
  made.latitude_deg = latitude_deg;
  made.longitude_deg = longitude_deg;
  made.altitude_ft = altitude_ft;
  made.on_ground = on_ground;
  return made;
}

feed::Report with_level(double signal_dbfs) {
  feed::Report made = report(0x4b1617, 52, 19, 30'000.);
  made.signal_dbfs = signal_dbfs;
  return made;
}

TEST(Plausibility, NamesTheFirstReasonInOrder) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const Implausible rows[] = {
      {"address 0", report(0, 95, 19, {}), "bad_address"},
      {"address ffffff", report(0xffffff, 52, 19, 30'000.), "bad_address"},
      {"address of 25 bits", report(0x1000000, 52, 19, 30'000.), "bad_address"},
      {"latitude 90.1", report(0x4b1617, 90.1, 19, {}), "bad_position"},
      {"latitude nan", report(0x4b1617, nan, 19, 30'000.), "bad_position"},
      {"longitude -180.1", report(0x4b1617, 52, -180.1, 30'000.), "bad_position"},
      {"exactly 0, 0", report(0x4b1617, 0, 0, 30'000.), "bad_position"},
      {"altitude -1501", report(0x4b1617, 52, 19, -1501.), "bad_altitude"},
      {"altitude 60001", report(0x4b1617, 52, 19, 60'001.), "bad_altitude"},
      {"altitude nan", report(0x4b1617, 52, 19, nan), "bad_altitude"},
      {"level -201", with_level(-201), "bad_signal"},
      {"level 101", with_level(101), "bad_signal"},
      {"level nan", with_level(nan), "bad_signal"},
      {"level 1e300", with_level(1e300), "bad_signal"},
      {"no altitude", report(0x4b1617, 52, 19, {}), "no_altitude"},
      {"on the ground", report(0x4b1617, 52, 19, 300., true), "on_ground"},
      {"on the ground, without altitude", report(0x4b1617, 52, 19, {}, true), "on_ground"},
  };
  for (const Implausible& row : rows) {
    Scene scene;
    scene.fly({companion()}, 0, 30);
    scene.accept(row.report);
    scene.fly({companion()}, 30, 60);
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.count(row.reason), 1) << row.name;
    EXPECT_EQ(shelf.count("stored"), 120) << row.name;
    EXPECT_EQ(shelf.unaccounted(), 0) << row.name;
  }
}

TEST(Plausibility, TimesThatNoClockShowsAreRefused) {
  Scene scene;
  for (const double time_s : {-1., -1e300, 1e12, 1e300, std::numeric_limits<double>::infinity(),
                              std::numeric_limits<double>::quiet_NaN()}) {
    feed::Report wild = companion().at(t0_s);
    wild.time_s = time_s;
    scene.accept(wild);
  }
  scene.fly({companion()}, 0, 10);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("stale"), 3);
  EXPECT_EQ(shelf.count("future"), 3);
  EXPECT_EQ(shelf.count("stored"), 20);
}

TEST(ImpossibleSpeed, OneWildFixDoesNotPoisonTheNextGoodOnes) {
  Scene scene;
  const Plane plane;
  for (double at = 0; at < 60; at += 0.5) {
    scene.accept(plane.at(t0_s + at));
    if (std::fmod(at, 5) == 2) {  // 12 of them, each elsewhere
      feed::Report wild = plane.at(t0_s + at + 0.2);
      wild.latitude_deg += 0.3 + at / 100;
      scene.accept(wild);
    }
  }
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("impossible_speed"), 12);
  EXPECT_EQ(shelf.count("stored"), 120);
  EXPECT_EQ(shelf.flights.size(), 1U);
  EXPECT_EQ(shelf.cells.size(), 6U);
  for (const auto& [key, cell] : shelf.cells) EXPECT_NEAR(cell.latitude_deg, 52.6, 1e-9);
}

TEST(ImpossibleSpeed, TheFirstFixMayBeTheWildOne) {
  for (const bool is_wild_second : {false, true}) {
    Scene scene;
    const Plane plane;
    feed::Report wild = plane.at(t0_s + 0.1);
    wild.longitude_deg += 1;
    scene.fly({companion()}, -5, 0);
    if (is_wild_second) scene.accept(plane.at(t0_s));
    scene.accept(wild);
    scene.fly({plane}, 0.5, 20);
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.count("impossible_speed"), 1);
    EXPECT_EQ(shelf.cell_of(plane.address, w0)->heard, is_wild_second ? 20 : 19);
    EXPECT_NEAR(shelf.cell_of(plane.address, w0)->latitude_deg, 52.6, 1e-9);
  }
}

TEST(ImpossibleSpeed, AWildFixAfterALongSilenceIsOutvoted) {
  // After 200 s an aircraft can be 80 km away; it isn't.
  Scene scene;
  const Plane plane;
  scene.fly({plane, companion()}, 0, 60);
  scene.fly({companion()}, 60, 260);
  feed::Report wild = plane.at(t0_s + 260);
  wild.latitude_deg += 0.6;
  scene.accept(wild);
  scene.fly({plane, companion()}, 260.5, 290);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.count("impossible_speed"), 1);
  for (const auto& cell : shelf.cells_of(plane.address)) {
    EXPECT_NEAR(cell.latitude_deg, 52.6, 0.002);
  }
  EXPECT_EQ(shelf.flights.size(), 2U);
}

TEST(ImpossibleSpeed, ALoneFixIsStored) {
  Scene scene;
  scene.fly({companion()}, 0, 20);
  scene.accept(Plane{}.at(t0_s + 20));
  scene.fly({companion()}, 20, 200);
  scene.take();
  EXPECT_EQ(scene.shelf.cells_of(0x4b1617).size(), 1U);
  EXPECT_EQ(scene.close().unaccounted(), 0);
}

TEST(ImpossibleSpeed, TwoFixesThatContradictEachOtherAreBothLeftOut) {
  Scene scene;
  scene.fly({companion()}, 0, 20);
  scene.accept(Plane{}.at(t0_s + 20));
  scene.accept(Plane{.latitude_deg = 53.6}.at(t0_s + 21));
  scene.fly({companion()}, 20, 200);
  const Shelf& shelf = scene.close();
  EXPECT_TRUE(shelf.cells_of(0x4b1617).empty());
  EXPECT_EQ(shelf.count("impossible_speed"), 2);
}

TEST(ImpossibleSpeed, ThreeThatAgreeAmongThemselvesAreANewFlight) {
  // Two aircraft with one address, one after the other.
  Scene scene;
  Plane plane;
  scene.fly({plane}, 0, 30);
  plane.latitude_deg = 51.6;
  scene.fly({plane}, 30, 60);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.flights.size(), 2U);
  EXPECT_EQ(shelf.count("stored"), 120);
  EXPECT_EQ(shelf.cells.size(), 6U);
}

TEST(BeyondHorizon, WhatNoDuctExplainsIsLeftOut) {
  // Horizon of 36 000 ft seen from 22 m: 4.12 (sqrt 10 973 + sqrt 22) = 451 km (handbook rule,
  // h in m). Half as much again: 676 km, 6.1 degrees of latitude north of 52.1.
  for (const auto& [latitude_deg, is_beyond] :
       {std::pair{57.9, false}, {58.1, false}, {58.5, true}, {65., true}}) {
    Scene scene;
    scene.fly({Plane{.latitude_deg = latitude_deg}}, 0, 20);
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.count("beyond_horizon"), is_beyond ? 40 : 0) << latitude_deg;
    EXPECT_EQ(shelf.count("stored"), is_beyond ? 0 : 40) << latitude_deg;
  }
}

TEST(BeyondHorizon, LowAircraftHaveANearerOne) {
  // 1000 ft: 4.12 (sqrt 305 + sqrt 22) = 91 km; 1.5 times: 137 km.
  for (const auto& [latitude_deg, is_beyond] : {std::pair{53.2, false}, {53.5, true}}) {
    Scene scene;
    scene.fly({Plane{.latitude_deg = latitude_deg, .altitude_ft = 1000}}, 0, 20);
    EXPECT_EQ(scene.close().count("beyond_horizon"), is_beyond ? 40 : 0) << latitude_deg;
  }
}

TEST(BeyondHorizon, ADescentPastItIsNoticed) {
  Scene scene;
  Plane plane{.latitude_deg = 53.9};  // 200 km
  for (int i = 0; i < 200; ++i) {
    plane.altitude_ft = 20'000 - 100 * i;
    scene.accept(plane.at(t0_s + 0.5 * i));
  }
  // 1.5 horizons are 195 km, less 5 km of margin, at h: 4.12 (sqrt h + sqrt 22) = 130, 725 m,
  // 2380 ft. That is passed by the last 23 or so.
  const std::int64_t n = scene.close().count("beyond_horizon");
  EXPECT_GE(n, 20);
  EXPECT_LE(n, 27);
}

TEST(Memory, IsBoundedWhateverAddressesCome) {
  Scene scene;
  std::mt19937 random(3);
  std::uniform_int_distribution<std::uint32_t> address(1, 0xfffffe);
  scene.fly({companion()}, -10, 0);
  for (int i = 0; i < 200'000; ++i) {
    scene.accept(Plane{.address = address(random)}.at(t0_s + 0.001 * i));
    if (i % 20'000 == 0) scene.take();
  }
  const Shelf& shelf = scene.close();
  EXPECT_GT(shelf.count("too_many_aircraft"), 100'000);
  EXPECT_EQ(shelf.unaccounted(), 0);
  EXPECT_EQ(shelf.count("received"), 200'020);
}

TEST(Memory, AddressesHeardOnceGiveWayToOthers) {
  Scene scene;
  scene.fly({companion()}, -10, 0);
  for (std::uint32_t i = 0; i < 10'000; ++i) {
    scene.accept(Plane{.address = 0x500000 + i}.at(t0_s + 0.001 * i));
  }
  scene.fly({companion()}, 10, 200);
  scene.fly({companion(), Plane{}}, 200, 230);
  const Shelf& shelf = scene.close();
  EXPECT_EQ(shelf.cells_of(0x4b1617).size(), 3U);
}

TEST(Live, CountsAircraftOfTheLastMinuteAndTheFarthest) {
  Scene scene;
  scene.fly(some_planes(5), 0, 30);
  scene.fly({companion()}, 30, 80);
  scene.take();
  const LiveCounts& live = scene.recorder->live();
  EXPECT_EQ(live.aircraft, 6U);
  EXPECT_EQ(live.received, 400);
  EXPECT_EQ(live.stored, 400);
  EXPECT_EQ(live.feed_time_s, t0_s + 79.5);
  EXPECT_NEAR(live.farthest_km, 103, 3);  // of the plane at 51.2 N, 19.0 E
  scene.fly({companion()}, 80, 100);
  EXPECT_EQ(scene.recorder->live().aircraft, 1U);
}

}  // namespace
}  // namespace roundel::record
