// A small database for tests: one site, two trials, one flight with cells in two hours.
#pragma once
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <string>

#include "roundel/schema/store.h"

namespace roundel::serve {

/// A folder that goes with its owner.
class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "roundel-XXXXXX").string();
    path_ = ::mkdtemp(name.data());
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  ~TemporaryFolder() { std::filesystem::remove_all(path_); }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

inline constexpr std::int64_t sample_start_s = 1764000000;  // 2025-11-24T16:00:00Z

template <class T>
T must(Result<T> result) {
  EXPECT_TRUE(result) << (result ? "" : result.error().line());
  return std::move(result).value();
}
inline void must(Result<void> result) {
  EXPECT_TRUE(result) << (result ? "" : result.error().line());
}

/// Cells of the flight of sample_store: 3 of 20 reports heard in each.
inline schema::Batch sample_batch(schema::Id feed, schema::Id flight, schema::Id trial,
                                  std::int64_t start_s, int n_cells) {
  schema::Batch batch;
  batch.feed = feed;
  const std::int64_t first = start_s / schema::window_s;
  batch.flights = {{.id = flight,
                    .trial = trial,
                    .address = 0x4b1617,
                    .first_window = first,
                    .last_window = {}}};
  for (int i = 0; i < n_cells; ++i) {
    batch.cells.push_back({.window = first + i,
                           .flight = flight,
                           .heard = 3,
                           .expected = 20,
                           .latitude_deg = 52.3,
                           .longitude_deg = 19.8,
                           .altitude_ft = 36000,
                           .signal_dbfs = -21.5,
                           .uncertainty_km = 0});
  }
  batch.hour_s = start_s / 3600 * 3600;
  batch.tally = {{"received", 3 * n_cells + 2}, {"stored", 3 * n_cells}, {"stale", 2}};
  batch.coverage = {{.feed = feed, .from_s = start_s, .to_s = start_s + n_cells * 10}};
  return batch;
}

/// Ten cells at 16:00 and five at 17:30; "collinear" ran from 10:00 to 16:00, "spider" since.
inline std::filesystem::path sample_store(const TemporaryFolder& folder) {
  const auto file = folder.path() / "roundel.db";
  auto store = must(schema::Store::open(file, schema::Store::Access::record));
  must(store.set_site({.name = "Hill house",
                       .latitude_deg = 52.1,
                       .longitude_deg = 19.4,
                       .ground_m = 110,
                       .antenna_m = 12,
                       .surface_m = 100}));
  const auto feed = must(store.feed_id("roof"));
  schema::Trial trial{.id = 0,
                      .feed = "roof",
                      .antenna = "collinear",
                      .receiver = "rx1",
                      .mount = "gable",
                      .rotation_deg = 0,
                      .start_s = sample_start_s - 21600,
                      .stop_s = {},
                      .note = "as built"};
  must(store.start_trial(trial));
  trial.antenna = "spider";
  trial.start_s = sample_start_s;
  trial.note = "";
  const auto running = must(store.start_trial(trial));
  must(store.add_note({.id = 0,
                       .time_s = sample_start_s + 60,
                       .trial = running.id,
                       .text = "reseated the connector"}));
  must(store.commit(sample_batch(feed, 1, running.id, sample_start_s, 10)));
  must(store.commit(sample_batch(feed, 2, running.id, sample_start_s + 5400, 5)));
  return file;
}

}  // namespace roundel::serve
