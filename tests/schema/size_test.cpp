// What a cell costs on disk.
#include <gmock/gmock.h>

#include <random>

#include "tests/schema/store_fixture.h"

namespace roundel::schema {
namespace {

struct Aircraft {
  Id flight{};
  int windows_left{};
  double latitude_deg{}, longitude_deg{}, altitude_ft{};
  int gap_left{}, gap{};
};

// A live recorder: 60 aircraft at a time with signal levels, a commit each five minutes of feed
// time with the present state of the open window, and silent cells up to 15 windows late, when
// their aircraft comes back. Every figure is drawn from a seeded generator.
TEST(Size, ACellCostsAtMost32BytesHoweverItArrived) {
  constexpr std::int64_t wanted_cells = 1'000'000;
  constexpr int windows_per_commit = 30;
  Folder folder;
  const auto file = folder / "roundel.db";
  std::int64_t silent = 0;
  {
    Store store = must(Store::open(file, Store::Access::record));
    const Id feed = must(store.feed_id("roof"));
    const Id trial = must(store.start_trial(trial_on("roof", "collinear", day_s))).id;
    std::mt19937 random(5);
    const auto between = [&](int low, int high) {
      return std::uniform_int_distribution<int>(low, high)(random);
    };
    Id next_flight = 1'000'000;  // as after some years
    Batch batch;
    batch.feed = feed;
    const auto new_aircraft = [&] {
      batch.flights.push_back(flight_of(next_flight, trial, day_window));
      return Aircraft{next_flight++,
                      between(60, 360),
                      between(490'000, 550'000) / 1e4,
                      between(160'000, 230'000) / 1e4,
                      between(80, 1640) * 25.0,
                      0,
                      0};
    };
    std::vector<Aircraft> sky;
    for (int i = 0; i < 60; ++i) sky.push_back(new_aircraft());
    const auto add = [&](std::int64_t window, const Aircraft& aircraft, int heard) {
      Cell cell = cell_at(window, aircraft.flight, heard);
      cell.latitude_deg = aircraft.latitude_deg;
      cell.longitude_deg = aircraft.longitude_deg;
      cell.altitude_ft = aircraft.altitude_ft;
      if (heard > 0) cell.signal_dbfs = -between(10, 80) / 2.0;
      batch.cells.push_back(cell);
    };
    std::int64_t n = 0;
    for (std::int64_t window = day_window; n < wanted_cells; ++window) {
      const bool commits = window % windows_per_commit == 0;
      for (Aircraft& aircraft : sky) {
        aircraft.latitude_deg += 0.015;
        aircraft.longitude_deg += 0.02;
        if (aircraft.gap_left > 0) {
          if (--aircraft.gap_left > 0) continue;
          for (int back = aircraft.gap; back > 0; --back) {
            add(window - back, aircraft, 0);
            ++silent, ++n;
          }
        } else if (between(0, 79) == 0) {
          aircraft.gap = aircraft.gap_left = between(2, 15);
          continue;
        }
        if (commits) add(window, aircraft, between(1, 10));
        if (--aircraft.windows_left == 0) aircraft = new_aircraft();
      }
      if (commits) {
        must(store.commit(batch));
        batch = Batch{};
        batch.feed = feed;
      }
      // The whole window replaces what was committed of it.
      for (const Aircraft& aircraft : sky)
        if (aircraft.gap_left == 0) {
          add(window, aircraft, between(1, 20));
          ++n;
        }
    }
    must(store.commit(batch));
  }
  EXPECT_GT(silent, wanted_cells / 20) << "enough late ones to matter";

  Client client(file);
  const double n_settled = std::stod(client.one("SELECT count(*) FROM cell"));
  const double settled_bytes =
      std::stod(client.one("SELECT sum(pgsize) FROM dbstat WHERE name = 'cell'"));
  EXPECT_GT(n_settled, 0.95 * wanted_cells);
  EXPECT_LE(settled_bytes / n_settled, 32) << "pages of the table, with all they waste";
  // With everything else: waiting cells, flights, counts, the schema itself.
  const double n_cells = n_settled + std::stod(client.one("SELECT count(*) FROM recent_cell"));
  const auto file_bytes = static_cast<double>(std::filesystem::file_size(file));
  EXPECT_LE(file_bytes / n_cells, 33);
  std::printf("%.0f cells, %.2f bytes each in the table, %.2f in the file\n", n_cells,
              settled_bytes / n_settled, file_bytes / n_cells);
}

}  // namespace
}  // namespace roundel::schema
