// What must hold for any feed: counts add up, batches may be cut anywhere, a kill loses only what
// was not yet written, and the Earth has no edges.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <limits>
#include <random>

#include "roundel/schema/store.h"
#include "roundel/site/path.h"
#include "tests/record/scene.h"

namespace roundel::record {
namespace {

// A feed with everything wrong with it that feeds have, in order of arrival.
std::vector<feed::Report> rough_traffic(unsigned seed, double length_s) {
  std::mt19937 random(seed);
  const auto chance = [&](double p) { return std::uniform_real_distribution<>(0, 1)(random) < p; };
  const auto between = [&](double a, double b) {
    return std::uniform_real_distribution<>(a, b)(random);
  };
  const auto planes = some_planes(7);
  std::vector<double> heard_share(planes.size(), 0.9);
  std::vector<std::pair<double, feed::Report>> order;
  for (double at = 0; at < length_s; at += 0.5) {
    for (std::size_t i = 0; i < planes.size(); ++i) {
      if (chance(0.01)) heard_share[i] = chance(0.4) ? 0 : between(0.1, 1);
      if (!chance(heard_share[i])) continue;
      const double time_s = t0_s + at + 0.03 * static_cast<double>(i);
      feed::Report report = planes[i].at(time_s);
      if (chance(0.005)) report.latitude_deg += between(-3, 3);
      if (chance(0.005)) report.time_s = *report.time_s + between(-1e4, 1e4);
      if (chance(0.01)) report.altitude_ft.reset();
      if (chance(0.003)) report.address ^= 1U << std::uniform_int_distribution<>(0, 23)(random);
      order.emplace_back(at + between(0, 3), report);
      if (chance(0.3)) {
        report.time_s = *report.time_s + 0.2;
        order.emplace_back(at + 3, report);
      }
    }
  }
  std::ranges::stable_sort(order, {}, [](const auto& one) { return one.first; });
  std::vector<feed::Report> reports;
  for (const auto& [at, report] : order) reports.push_back(report);
  return reports;
}

void expect_same_cells(const Shelf& a, const Shelf& b, const std::string& what) {
  ASSERT_EQ(a.cells.size(), b.cells.size()) << what;
  for (const auto& [key, cell] : a.cells) {
    const auto it = b.cells.find(key);
    ASSERT_NE(it, b.cells.end()) << what << ": flight " << key.first << ", window " << key.second;
    EXPECT_EQ(cell.heard, it->second.heard) << what;
    EXPECT_EQ(cell.expected, it->second.expected) << what;
    EXPECT_EQ(cell.latitude_deg, it->second.latitude_deg) << what;
    EXPECT_EQ(cell.longitude_deg, it->second.longitude_deg) << what;
    EXPECT_EQ(cell.altitude_ft, it->second.altitude_ft) << what;
    EXPECT_EQ(cell.uncertainty_km, it->second.uncertainty_km) << what;
  }
  ASSERT_EQ(a.flights.size(), b.flights.size()) << what;
  for (const auto& [id, row] : a.flights) {
    EXPECT_EQ(row.first_window, b.flights.at(id).first_window) << what;
    EXPECT_EQ(row.last_window, b.flights.at(id).last_window) << what;
  }
}

TEST(EveryLine, IsCountedOnceWhateverItHolds) {
  for (unsigned seed = 0; seed < 30; ++seed) {
    std::mt19937 random(seed);
    std::uniform_int_distribution<int> dice(0, 99);
    std::normal_distribution<double> step_s(0.2, seed % 3 == 0 ? 200 : 20);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const std::vector<double> odd = {nan, 0, -0.0, 90, -90, 180, -180, 1e300, -1e300, 91, 52.1};
    const auto any = [&] { return odd[static_cast<std::size_t>(dice(random)) % odd.size()]; };
    Scene scene;
    double now_s = t0_s;
    std::int64_t n_lines = 0;
    for (int i = 0; i < 5000; ++i) {
      now_s += step_s(random);
      feed::Report report;
      report.address = static_cast<std::uint32_t>(dice(random) % 12) + 0x400000;
      if (dice(random) < 3) report.address = static_cast<std::uint32_t>(random());
      report.latitude_deg = dice(random) < 5 ? any() : 52 + 0.01 * dice(random);
      report.longitude_deg = dice(random) < 5 ? any() : 19 + 0.01 * dice(random);
      if (dice(random) < 95) report.altitude_ft = dice(random) < 3 ? any() : 30'000;
      if (dice(random) < 90) report.time_s = dice(random) < 3 ? any() : now_s;
      report.on_ground = dice(random) < 3;
      scene.recorder->accept(report, dice(random) < 2 ? any() : now_s);
      ++n_lines;
      if (dice(random) < 2) {
        scene.recorder->reject(feed::Reject::malformed, 3);
        n_lines += 3;
      }
      if (dice(random) < 1) scene.recorder->interrupted();
      if (dice(random) < 1)
        scene.recorder->set_trials({trial(1, t0_s - 1e8, now_s), trial(2, now_s + 50)});
      if (dice(random) < 5) {
        scene.take();
        const LiveCounts& live = scene.recorder->live();
        EXPECT_EQ(live.received, live.stored + live.repeats + live.rejected);
      }
    }
    const Shelf& shelf = scene.close();
    EXPECT_EQ(shelf.count("received"), n_lines) << seed;
    EXPECT_EQ(shelf.unaccounted(), 0) << seed;
    std::int64_t heard = 0;
    for (const auto& [key, cell] : shelf.cells) {
      heard += cell.heard;
      EXPECT_GE(cell.expected, 1);
      EXPECT_LE(cell.expected, 20);
      EXPECT_TRUE(std::isfinite(cell.latitude_deg) && std::abs(cell.latitude_deg) <= 90);
      EXPECT_TRUE(std::isfinite(cell.longitude_deg) && std::abs(cell.longitude_deg) <= 180);
      EXPECT_TRUE(shelf.flights.contains(key.first));
      EXPECT_LE(shelf.flights.at(key.first).first_window, cell.window);
      EXPECT_GE(*shelf.flights.at(key.first).last_window, cell.window);
    }
    EXPECT_EQ(heard, shelf.count("stored")) << seed;
  }
}

TEST(Take, MayCutTheFeedAnywhere) {
  const auto reports = rough_traffic(1, 2400);
  Scene whole;
  for (const auto& report : reports) whole.accept(report);
  whole.close();
  ASSERT_GT(whole.shelf.cells.size(), 800U);
  for (const std::size_t every : {1UL, 7UL, 1000UL}) {
    Scene cut;
    for (std::size_t i = 0; i < reports.size(); ++i) {
      cut.accept(reports[i]);
      if (i % every == 0) cut.take();
    }
    cut.close();
    expect_same_cells(whole.shelf, cut.shelf, "every " + std::to_string(every));
    EXPECT_EQ(whole.shelf.tally, cut.shelf.tally);
    EXPECT_EQ(whole.shelf.coverage, cut.shelf.coverage);
  }
}

// Half-second reports of planes that are heard, or not, by turns; no two at the same time.
std::vector<feed::Report> plain_traffic(double length_s) {
  std::vector<feed::Report> reports;
  const auto planes = some_planes(5);
  for (double at = 0; at < length_s; at += 0.5) {
    for (std::size_t i = 0; i < planes.size(); ++i) {
      const bool is_silent = i > 0 && std::fmod(at + 40. * static_cast<double>(i), 200) < 80;
      if (!is_silent) reports.push_back(planes[i].at(t0_s + at + 0.01 * static_cast<double>(i)));
    }
  }
  return reports;
}

/// Cells by aircraft and window: flights are numbered otherwise after a kill.
std::map<std::pair<std::uint64_t, std::int64_t>, schema::Cell> by_aircraft(const Shelf& shelf) {
  std::map<std::pair<std::uint64_t, std::int64_t>, schema::Cell> found;
  for (const auto& [key, cell] : shelf.cells) {
    const bool is_new =
        found.emplace(std::pair(shelf.flights.at(key.first).address, cell.window), cell).second;
    EXPECT_TRUE(is_new) << "two cells of one aircraft in window " << cell.window;
  }
  return found;
}

TEST(Kill, AtAnyReportLosesOnlyWhatWasNotYetWritten) {
  const auto reports = plain_traffic(900);
  for (std::size_t killed_at = 300; killed_at < 6000; killed_at += 371) {
    // The last commit was up to 5 s before the kill, and the restart takes as long.
    const std::size_t committed_at = killed_at - killed_at % 40;
    Scene first;
    for (std::size_t i = 0; i < killed_at; ++i) {
      first.accept(reports[i]);
      if (i == committed_at) first.take();
    }
    Scene second = Scene::resumed(first.shelf);
    for (std::size_t i = killed_at; i < reports.size(); ++i) second.accept(reports[i]);
    second.close();
    const Shelf& shelf = second.shelf;

    // The same feed with the connection lost for that while.
    Scene reference;
    for (std::size_t i = 0; i < reports.size(); ++i) {
      if (i == killed_at) reference.recorder->interrupted();
      if (i <= committed_at || i >= killed_at) reference.accept(reports[i]);
    }
    reference.close();
    const auto found = by_aircraft(shelf), wanted = by_aircraft(reference.shelf);
    ASSERT_EQ(shelf.flights.size(), 5U) << killed_at;
    // A report held as its aircraft's first after a silence is not yet in a cell; the second
    // claimed last is covered as a whole.
    const std::int64_t last = static_cast<std::int64_t>(*reports[killed_at].time_s) / 10;
    for (const auto& [key, cell] : wanted) {
      const auto it = found.find(key);
      if (key.second < last - 1 || key.second > last + 1) {
        ASSERT_NE(it, found.end()) << killed_at << ": window " << key.second - w0;
        EXPECT_EQ(it->second.heard, cell.heard) << killed_at << ": window " << key.second - w0;
        EXPECT_EQ(it->second.expected, cell.expected)
            << killed_at << ": window " << key.second - w0;
        EXPECT_NEAR(it->second.latitude_deg, cell.latitude_deg, 0.02);
        EXPECT_NEAR(it->second.longitude_deg, cell.longitude_deg, 0.02);
      } else if (it != found.end()) {
        EXPECT_NEAR(it->second.heard, cell.heard, 3) << killed_at;
        EXPECT_NEAR(it->second.expected, cell.expected, 3) << killed_at;
      }
    }
    for (const auto& [key, cell] : found) {
      EXPECT_TRUE(wanted.contains(key)) << killed_at << ": window " << key.second - w0;
    }
  }
}

TEST(Kill, ForTenMinutesInventsNoSilentCells) {
  Scene first;
  const auto planes = some_planes(3);
  first.fly(planes, 0, 304);
  first.take();
  Scene second = Scene::resumed(first.shelf);
  second.fly(planes, 904, 1000);
  const Shelf& shelf = second.close();
  EXPECT_EQ(shelf.flights.size(), 3U) << "less than half an hour: the same flights";
  EXPECT_EQ(shelf.cells.size(), 3U * (31 + 10));
  EXPECT_EQ(shelf.cell_of(planes[0].address, w0 + 30)->heard, 8);
  EXPECT_EQ(shelf.cell_of(planes[0].address, w0 + 30)->expected, 7);
  for (const auto& [key, cell] : shelf.cells) EXPECT_GT(cell.heard, 0);
}

TEST(Kill, ForAnHourEndsTheFlights) {
  Scene first;
  first.fly(some_planes(3), 0, 300);
  first.take();
  Scene second = Scene::resumed(first.shelf);
  second.fly(some_planes(3, 3600), 3900, 4000);
  second.take();
  EXPECT_EQ(second.shelf.flights.size(), 6U);
  for (schema::Id id = 1; id <= 3; ++id) {
    EXPECT_EQ(second.shelf.flights.at(id).last_window, w0 + 29);
  }
}

TEST(Kill, WithinAWindowGoesOnWithItsCell) {
  Scene first;
  Plane plane;
  first.fly({plane}, 0, 26);  // to 25.5: covered until 26
  first.take();
  Scene second = Scene::resumed(first.shelf);
  second.fly({plane}, 26, 40);
  const Shelf& shelf = second.close();
  const auto cell = shelf.cell_of(plane.address, w0 + 2);
  EXPECT_EQ(shelf.cells.size(), 4U);
  EXPECT_EQ(cell->heard, 20);
  EXPECT_EQ(cell->expected, 19);  // 20 .. 25.5 and 26 .. 30
  EXPECT_NEAR(cell->longitude_deg, plane.at(t0_s + 24.75).longitude_deg, 1e-9);
}

TEST(Kill, IsSurvivedInTheRealStore) {
  const auto file = std::filesystem::path(testing::TempDir()) / "record_kill.db";
  std::filesystem::remove(file);
  const auto must = [](auto result) {
    EXPECT_TRUE(result.has_value());
    return *std::move(result);
  };
  const site::Viewpoint viewpoint = hill_house();
  const auto reports = plain_traffic(600);
  schema::Trial running;
  schema::Id feed = 0;
  for (const std::size_t part : {0UL, 1UL, 2UL}) {
    schema::Store store = must(schema::Store::open(file, schema::Store::Access::record));
    feed = must(store.feed_id("roof"));
    if (part == 0) running = must(store.start_trial(trial(0, t0_s - 100)));
    Recorder recorder({.feed = feed, .recorded = must(store.coverage(feed))}, viewpoint,
                      must(store.next_flight_id()));
    recorder.set_trials(must(store.trials()));
    std::vector<schema::Cell> tail;
    ASSERT_TRUE(store.each_cell({}, [&](const schema::Cell& cell) {
      tail.push_back(cell);
      return true;
    }));
    recorder.resume(must(store.open_flights(feed)), tail);
    const std::size_t begin = part * reports.size() / 3, end = (part + 1) * reports.size() / 3;
    for (std::size_t i = begin; i < end; ++i) {
      recorder.accept(reports[i], 0);
      if (i % 50 == 0 || i + 1 == end) {
        ASSERT_TRUE(store.commit(recorder.take()));
      }
    }
    if (part == 2) {
      recorder.close();
      ASSERT_TRUE(store.commit(recorder.take()));
    }
  }
  const schema::Store store = must(schema::Store::open(file, schema::Store::Access::read));
  const schema::Totals totals = must(store.totals());
  EXPECT_EQ(totals.flights, 5);
  EXPECT_EQ(totals.aircraft, 5);
  EXPECT_TRUE(must(store.open_flights(feed)).empty());
  // Every window from 0 to 59, but for those at the ends of a plane's silences.
  std::map<schema::Id, std::int64_t> heard, next;
  ASSERT_TRUE(store.each_cell({}, [&](const schema::Cell& cell) {
    heard[cell.flight] += cell.heard;
    if (next.contains(cell.flight)) {
      EXPECT_EQ(cell.window, next[cell.flight]);
    }
    next[cell.flight] = cell.window + 1;
    return true;
  }));
  std::int64_t stored = 0;
  for (const auto& [flight, n] : heard) stored += n;
  const schema::Tally tally = must(store.tally(feed));
  EXPECT_EQ(tally.at("stored"), stored);
  EXPECT_LE(tally.at("received"), static_cast<std::int64_t>(reports.size()));
  EXPECT_GE(stored, static_cast<std::int64_t>(reports.size()) - 40);
  std::filesystem::remove(file);
}

TEST(Antimeridian, IsNoEdge) {
  Scene scene({}, {}, 52.1, 179.9);
  Plane plane;
  plane.longitude_deg = 179.98;
  Plane other = plane;
  other.address = 0x300001;
  other.latitude_deg = 51.5;
  scene.fly({plane, other}, 0, 20);
  scene.fly({other}, 20, 60);
  scene.fly({plane, other}, 60, 80);
  const Shelf& shelf = scene.close();
  const auto cells = shelf.cells_of(plane.address);
  ASSERT_EQ(cells.size(), 8U);
  EXPECT_EQ(shelf.count("stored"), 40 + 160 + 40);
  for (const schema::Cell& cell : cells) {
    const double middle_s =
        10. * static_cast<double>(cell.window - w0) + (cell.heard > 0 ? 4.75 : 5);
    const feed::Report truth = plane.at(t0_s + middle_s);
    EXPECT_LT(site::distance_km({cell.latitude_deg, cell.longitude_deg},
                                {truth.latitude_deg, truth.longitude_deg}),
              0.01)
        << cell.longitude_deg;
  }
  EXPECT_GT(cells.front().longitude_deg, 179.9);
  EXPECT_LT(cells.back().longitude_deg, -179.7);
}

TEST(Pole, IsNoEdge) {
  // Over the pole from 20 E to 160 W; the site is 200 km from it.
  Scene scene({}, {}, 88.2, 19.4);
  Plane other{.address = 0x300001, .latitude_deg = 88, .longitude_deg = 30, .east_km_s = 0};
  other.north_km_s = 0.2;
  const auto over_the_pole = [](double at) {
    feed::Report report = Plane{}.at(t0_s + at);
    const double from_pole_deg = (5 - 0.2 * at) / 111.195;
    report.latitude_deg = 90 - std::abs(from_pole_deg);
    report.longitude_deg = from_pole_deg > 0 ? 20 : -160;
    return report;
  };
  for (double at = 0; at < 60; at += 0.5) {
    scene.accept(other.at(t0_s + at));
    if (at < 15.3 || at > 33) scene.accept(over_the_pole(at));
  }
  const Shelf& shelf = scene.close();
  const auto cells = shelf.cells_of(0x4b1617);
  ASSERT_EQ(cells.size(), 6U);
  EXPECT_EQ(shelf.count("impossible_speed"), 0);
  // The pole is passed at 25 s: the silent window's middle.
  EXPECT_EQ(cells[2].heard, 0);
  EXPECT_GT(cells[2].latitude_deg, 89.99);
  EXPECT_NEAR(cells[0].latitude_deg, 90 - (5 - 0.2 * 4.75) / 111.195, 1e-6);
  EXPECT_NEAR(cells[0].longitude_deg, 20, 1e-6);
  EXPECT_NEAR(cells[5].longitude_deg, -160, 1e-6);
}

}  // namespace
}  // namespace roundel::record
