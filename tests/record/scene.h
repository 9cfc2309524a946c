// A recorder under test, what it has written, and invented traffic to feed it with.
#pragma once
#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <numbers>
#include <optional>
#include <tuple>
#include <utility>
#include <vector>

#include "roundel/record/recorder.h"
#include "roundel/site/sightline.h"

namespace roundel::record {

inline constexpr double t0_s = 1'764'000'000;  // a whole hour is not needed, a whole window is
inline constexpr std::int64_t w0 = 176'400'000;

/// Applies batches as a store does: replaces by key, adds tallies.
struct Shelf {
  std::map<schema::Id, schema::Flight> flights;
  std::map<std::pair<schema::Id, std::int64_t>, schema::Cell> cells;  // by flight, window
  std::map<std::int64_t, std::int64_t> coverage;                      // from -> to
  schema::Tally tally;
  std::size_t n_batches = 0;

  void commit(const schema::Batch& batch) {
    for (const auto& row : batch.flights) flights[row.id] = row;
    for (const auto& cell : batch.cells) cells[{cell.flight, cell.window}] = cell;
    for (const auto& row : batch.coverage) coverage[row.from_s] = row.to_s;
    for (const auto& [kind, n] : batch.tally) tally[kind] += n;
    for (const auto& [hour_s, earlier] : batch.earlier) {
      for (const auto& [kind, n] : earlier) tally[kind] += n;
    }
    ++n_batches;
  }
  std::int64_t count(const char* kind) const {
    const auto it = tally.find(kind);
    return it == tally.end() ? 0 : it->second;
  }
  std::vector<schema::Coverage> coverage_rows(schema::Id feed) const {
    std::vector<schema::Coverage> rows;
    for (const auto& [from_s, to_s] : coverage) rows.push_back({feed, from_s, to_s});
    return rows;
  }
  std::vector<schema::Flight> open_flights() const {
    std::vector<schema::Flight> open;
    for (const auto& [id, row] : flights) {
      if (!row.last_window) open.push_back(row);
    }
    return open;
  }
  std::vector<schema::Cell> all_cells() const {
    std::vector<schema::Cell> all;
    for (const auto& [key, cell] : cells) all.push_back(cell);
    return all;
  }
  /// received - stored - repeats - rejects; 0 where every line is counted once.
  std::int64_t unaccounted() const {
    std::int64_t rest = count("received");
    for (const auto& [kind, n] : tally) {
      if (kind != "received") rest -= n;
    }
    return rest;
  }
  /// Cells of the aircraft's flights, by window. Several flights: in order of id.
  std::vector<schema::Cell> cells_of(std::uint32_t address) const {
    std::vector<schema::Cell> found;
    for (const auto& [key, cell] : cells) {
      if (flights.at(key.first).address == address) found.push_back(cell);
    }
    return found;
  }
  std::optional<schema::Cell> cell_of(std::uint32_t address, std::int64_t window) const {
    for (const auto& cell : cells_of(address)) {
      if (cell.window == window) return cell;
    }
    return std::nullopt;
  }
};

inline site::Viewpoint hill_house(double latitude_deg = 52.1, double longitude_deg = 19.4) {
  return site::Viewpoint(*site::GeoPoint::make(latitude_deg, longitude_deg, 22));
}

inline schema::Trial trial(schema::Id id, double start_s, std::optional<double> stop_s = {}) {
  schema::Trial made;
  made.id = id;
  made.feed = "roof";
  made.antenna = "collinear";
  made.receiver = "rx1";
  made.mount = "gable";
  made.start_s = static_cast<std::int64_t>(start_s);
  if (stop_s) made.stop_s = static_cast<std::int64_t>(*stop_s);
  return made;
}

/// An aircraft on a straight track: north and east of a place by some km, at even speed.
struct Plane {
  std::uint32_t address = 0x4b1617;
  double latitude_deg = 52.6, longitude_deg = 19.4;  // at t0_s + start_s
  double north_km_s = 0, east_km_s = 0.23;
  double altitude_ft = 36'000;
  std::optional<double> signal_dbfs = -20;
  double start_s = 0;

  feed::Report at(double time_s) const {
    constexpr double km_per_deg = 111.195;  // of the sphere of mean radius
    const double flown_s = time_s - t0_s - start_s;
    feed::Report report;
    report.time_s = time_s;
    report.address = address;
    report.latitude_deg = latitude_deg + north_km_s * flown_s / km_per_deg;
    report.longitude_deg = longitude_deg + east_km_s * flown_s / km_per_deg /
                                               std::cos(latitude_deg * std::numbers::pi / 180);
    if (report.longitude_deg >= 180) report.longitude_deg -= 360;
    if (report.longitude_deg < -180) report.longitude_deg += 360;
    report.altitude_ft = altitude_ft;
    report.signal_dbfs = signal_dbfs;
    return report;
  }
};

/// A recorder of feed 1, one trial from before t0_s on, and its shelf.
class Scene {
 public:
  explicit Scene(Recorder::Options options = {}, Shelf from = {}, double latitude_deg = 52.1,
                 double longitude_deg = 19.4)
      : viewpoint_(std::make_unique<site::Viewpoint>(hill_house(latitude_deg, longitude_deg))),
        shelf(std::move(from)) {
    options.feed = 1;
    if (options.recorded.empty()) options.recorded = shelf.coverage_rows(1);
    schema::Id next = 1;
    if (!shelf.flights.empty()) next = shelf.flights.rbegin()->first + 1;
    recorder.emplace(std::move(options), *viewpoint_, next);
    recorder->set_trials({trial(1, t0_s - 1e8)});
  }
  /// As after a kill: a new recorder goes on from what the shelf holds.
  static Scene resumed(const Shelf& shelf, Recorder::Options options = {}) {
    Scene scene(std::move(options), shelf);
    scene.recorder->resume(shelf.open_flights(), shelf.all_cells());
    return scene;
  }
  void accept(const feed::Report& report) { recorder->accept(report, report.time_s.value_or(0)); }
  /// Every half second of [from_s, to_s), relative to t0_s.
  void fly(const std::vector<Plane>& planes, double from_s, double to_s) {
    for (double at = from_s; at < to_s; at += 0.5) {
      for (const Plane& plane : planes) accept(plane.at(t0_s + at));
    }
  }
  void take() { shelf.commit(recorder->take()); }
  const Shelf& close() {
    recorder->close();
    take();
    return shelf;
  }

 private:
  std::unique_ptr<site::Viewpoint> viewpoint_;

 public:
  Shelf shelf;
  std::optional<Recorder> recorder;
};

/// Planes spread around the site; their tracks never meet.
inline std::vector<Plane> some_planes(int n, double start_s = 0) {
  std::vector<Plane> planes;
  for (int i = 0; i < n; ++i) {
    Plane plane;
    plane.start_s = start_s;
    plane.address = 0x400000U + static_cast<std::uint32_t>(i);
    plane.latitude_deg = 51.2 + 0.2 * i;
    plane.longitude_deg = 19.0 + 0.1 * i;
    plane.north_km_s = 0.05 * (i % 3 - 1);
    plane.east_km_s = i % 2 == 0 ? 0.2 : -0.22;
    planes.push_back(plane);
  }
  return planes;
}

}  // namespace roundel::record
