#include "roundel/pattern/exposure.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <deque>
#include <numbers>
#include <numeric>

#include "analysis/pattern/horizon_table.h"

namespace roundel::pattern {
namespace {

constexpr double reference_slant_km = 200;
constexpr float spreading_step_db = 0.5F;
constexpr float elevation_step_deg = 0.25F;
constexpr double ducting_ratio = 1.05;
constexpr double landing_ft = 10000;
constexpr int beyond_windows = 30;        // five minutes
constexpr int quiet_margin_windows = 12;  // two minutes
constexpr std::size_t track_points = 7;   // a minute of heard cells gives the track
constexpr double near_km = 100;

// Position on the plane of range and bearing (azimuthal equidistant), with time and height.
struct TrackPoint {
  std::int64_t window{};
  double x_km{}, y_km{}, altitude_ft{};
};

// A group that is still growing.
struct Run {
  bool open = false;
  std::int64_t spreading_bin{}, elevation_bin{};
  Group group;
  double spreading_sum{}, elevation_sum{}, bearing_sum{}, ratio_sum{}, aspect_sum{};
};

// A repeatable shuffle: flights in the order of a mixed number (splitmix64's finaliser).
std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15U;
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

// Which flights stay in a sample; `sectors[f]` are those that flight f crosses.
std::vector<bool> sample(const std::vector<std::vector<std::uint16_t>>& sectors, int n_sectors,
                         int flights_per_sector) {
  std::vector<std::uint32_t> order(sectors.size());
  std::iota(order.begin(), order.end(), 0U);
  std::sort(order.begin(), order.end(),
            [](std::uint32_t a, std::uint32_t b) { return mixed(a) < mixed(b); });
  std::vector<int> taken(static_cast<std::size_t>(n_sectors), 0);
  std::vector<bool> stays(sectors.size(), false);
  for (std::uint32_t flight : order) {
    const auto& crossed = sectors[flight];
    stays[flight] = std::any_of(crossed.begin(), crossed.end(), [&](std::uint16_t sector) {
      return taken[sector] < flights_per_sector;
    });
    if (!stays[flight]) continue;
    for (std::uint16_t sector : crossed) ++taken[sector];
  }
  return stays;
}

struct FlightState {
  std::uint32_t index{};  // into Exposure::flights
  Run run;
  std::array<TrackPoint, track_points> first{}, last{};
  std::size_t n_first{}, n_last{};  // n_last counts all; last is a ring
  bool extended_backwards = false;
};

}  // namespace

struct ExposureBuilder::Impl {
  const site::Viewpoint& viewpoint;
  Exposure out;
  std::unique_ptr<site::Limit> limit;
  HorizonTable horizons;
  std::vector<std::uint32_t> index_of;         // by id, 1 more than the index; 0: not seen
  std::vector<FlightState> states;             // by Exposure::flights index while open
  std::vector<std::uint32_t> heard_in_window;  // by window - first_window_
  std::int64_t first_window = 0;
  std::int64_t first_hour = 0;
  std::deque<Group> groups;                // until finish; grows without a copy
  std::deque<std::int64_t> beyond_window;  // parallel to `beyond`
  std::deque<Group> beyond;                // one per extended cell, until finish

  Impl(const site::Viewpoint& from, double sector_deg)
      : viewpoint(from), limit(site::effective_earth_limit(from)), horizons(*limit) {
    assert(sector_deg >= 1 && sector_deg <= 45);
    out.sector_deg = sector_deg;
    out.n_sectors = static_cast<int>(std::lround(360 / sector_deg));
    out.sector_cells.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.sector_flights.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.heard_histogram.assign(256, 0);
  }

  FlightState& state_of(const schema::Flight& flight) {
    const auto id = static_cast<std::size_t>(flight.id);
    if (id >= index_of.size()) index_of.resize(id + 1 + id / 2, 0);
    if (index_of[id] == 0) {
      out.flights.push_back({flight.id, flight.address, 0, 0});
      states.emplace_back();
      states.back().index = static_cast<std::uint32_t>(states.size() - 1);
      index_of[id] = static_cast<std::uint32_t>(states.size());
    }
    return states[index_of[id] - 1];
  }

  std::uint16_t sector_of(double bearing_deg) const {
    const auto sector = static_cast<int>(bearing_deg / out.sector_deg);
    return static_cast<std::uint16_t>(std::min(sector, out.n_sectors - 1));
  }

  std::uint16_t hour_of(std::int64_t window) {
    constexpr std::int64_t per_hour = 3600 / schema::window_s;
    const std::int64_t hour = window / per_hour;
    if (out.hours.empty()) first_hour = hour;
    // Cells come in time order; only extensions before the first cell can lie in an earlier hour.
    const std::int64_t index = std::max<std::int64_t>(0, hour - first_hour);
    while (static_cast<std::int64_t>(out.hours.size()) <= index) {
      Hour next;
      next.start_s = (first_hour + static_cast<std::int64_t>(out.hours.size())) * 3600;
      out.hours.push_back(next);
    }
    return static_cast<std::uint16_t>(index);
  }

  void flush(FlightState& state) {
    Run& run = state.run;
    if (!run.open) return;
    const double n = run.group.cells;
    run.group.spreading_db = static_cast<float>(run.spreading_sum / n);
    run.group.elevation_deg = static_cast<float>(run.elevation_sum / n);
    run.group.bearing_off_deg =
        static_cast<float>(run.bearing_sum / n - out.sector_deg * (run.group.sector + 0.5));
    run.group.horizon_ratio = static_cast<float>(run.ratio_sum / n);
    run.group.cos_aspect = static_cast<float>(run.aspect_sum / n);
    groups.push_back(run.group);
    run = Run{};
  }

  void note_heard(std::int64_t window) {
    const auto at = static_cast<std::size_t>(window - first_window);
    if (at >= heard_in_window.size()) heard_in_window.resize(at + 1 + at / 2, 0);
    ++heard_in_window[at];
  }

  // Silent cells past `end`, going from `before` through `end` and on.
  void extend(std::uint32_t flight, const TrackPoint& before, const TrackPoint& end) {
    const auto dt = static_cast<double>(end.window - before.window);
    if (dt == 0 || end.altitude_ft < landing_ft) return;
    const double vx = (end.x_km - before.x_km) / dt, vy = (end.y_km - before.y_km) / dt;
    const double climb_ft = (end.altitude_ft - before.altitude_ft) / dt;
    const std::int64_t step = dt > 0 ? 1 : -1;
    for (int i = 1; i <= beyond_windows; ++i) {
      const double t = static_cast<double>(step * i);
      const double x_km = end.x_km + vx * t, y_km = end.y_km + vy * t;
      const double altitude_ft = end.altitude_ft + climb_ft * t;
      const std::int64_t window = end.window + step * i;
      if (altitude_ft < landing_ft || window < first_window) return;
      const double range_km = std::hypot(x_km, y_km);
      double bearing_deg = std::atan2(x_km, y_km) * (180 / std::numbers::pi);
      if (bearing_deg < 0) bearing_deg += 360;
      const site::Sightline line = viewpoint.along({range_km, bearing_deg}, altitude_ft);
      const double ratio = range_km / limit->limit_km(bearing_deg, altitude_ft);
      if (ratio > 1) return;
      Group group;
      group.spreading_db = static_cast<float>(-20 * std::log10(line.slant_km / reference_slant_km));
      group.elevation_deg = static_cast<float>(line.elevation_deg);
      group.horizon_ratio = static_cast<float>(ratio);
      group.cells = 1;
      group.chances = schema::chances_per_window;
      group.sector = sector_of(bearing_deg);
      group.hour = hour_of(window);
      group.flight = flight;
      group.kind = GroupKind::beyond;
      beyond.push_back(group);
      beyond_window.push_back(window);
    }
  }

  void extend_backwards(FlightState& state) {
    if (state.extended_backwards || state.n_first < 2) return;
    state.extended_backwards = true;
    extend(state.index, state.first[state.n_first - 1], state.first[0]);
  }

  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    const site::Sightline& line = sighting.line;
    if (out.n_cells == 0) first_window = cell.window;
    ++out.n_cells;
    out.n_silent_cells += cell.heard == 0;
    const auto start_s = cell.window * schema::window_s;
    if (!out.from_s) out.from_s = start_s;
    out.to_s = start_s + schema::window_s;

    FlightState& state = state_of(flight);

    const std::uint16_t hour = hour_of(cell.window);
    const double horizon_km = horizons.at(line.bearing_deg, cell.altitude_ft);
    const double ratio = line.range_km / std::max(horizon_km, 1.0);
    Hour& of_hour = out.hours[hour];
    ++of_hour.cells;
    of_hour.heard += cell.heard;
    of_hour.chances += cell.expected;
    const bool is_beyond = cell.heard > 0 && ratio > ducting_ratio;
    if (is_beyond) ++of_hour.beyond_horizon_cells, ++out.n_beyond_horizon_cells;

    const TrackPoint here{cell.window, sighting.east_km, sighting.north_km, cell.altitude_ft};
    // Aspect: the course since the last point against the direction to the antenna.
    double cos_aspect = 0;
    if (state.n_last > 0) {
      const TrackPoint& last = state.last[(state.n_last - 1) % track_points];
      const double dx = here.x_km - last.x_km, dy = here.y_km - last.y_km;
      const double scale = std::sqrt(dx * dx + dy * dy) * line.range_km;
      if (scale > 1e-6) cos_aspect = -(dx * here.x_km + dy * here.y_km) / scale;
    }
    if (cell.heard > 0) {
      note_heard(cell.window);
      if (state.n_first < track_points) state.first[state.n_first++] = here;
      if (state.n_first == track_points) extend_backwards(state);
      state.last[state.n_last++ % track_points] = here;
    }

    const bool is_partial = cell.window == flight.first_window || cell.window == flight.last_window;
    if (is_partial) {
      ++out.n_partial_cells;
    } else if (!is_beyond) {
      record(state, cell, line, ratio, cos_aspect, hour);
    }
    if (cell.window == flight.last_window) close(state);
  }

  void record(FlightState& state, const schema::Cell& cell, const site::Sightline& line,
              double ratio, double cos_aspect, std::uint16_t hour) {
    const double spreading_db = -20 * std::log10(std::max(line.slant_km, 0.1) / reference_slant_km);
    const auto spreading_bin =
        static_cast<std::int64_t>(std::floor(spreading_db / spreading_step_db));
    const auto elevation_bin =
        static_cast<std::int64_t>(std::floor(line.elevation_deg / elevation_step_deg));
    const std::uint16_t sector = sector_of(line.bearing_deg);
    const GroupKind kind = cell.uncertainty_km > 0 ? GroupKind::inferred : GroupKind::recorded;
    Run& run = state.run;
    if (run.open && (run.group.sector != sector || run.group.hour != hour ||
                     run.group.kind != kind || run.spreading_bin != spreading_bin ||
                     run.elevation_bin != elevation_bin || run.group.cells >= 200))
      flush(state);
    if (!run.open) {
      run.open = true;
      run.spreading_bin = spreading_bin;
      run.elevation_bin = elevation_bin;
      run.group.sector = sector;
      run.group.hour = hour;
      run.group.kind = kind;
      run.group.flight = state.index;
    }
    run.spreading_sum += spreading_db;
    run.elevation_sum += line.elevation_deg;
    run.bearing_sum += line.bearing_deg;
    run.ratio_sum += ratio;
    run.aspect_sum += cos_aspect;
    Group& group = run.group;
    ++group.cells;
    group.heard = static_cast<std::uint16_t>(group.heard + cell.heard);
    group.chances = static_cast<std::uint16_t>(group.chances + cell.expected);
    if (cell.signal_dbfs && cell.heard > 0) {
      group.level_sum_db += static_cast<float>(*cell.signal_dbfs * cell.heard);
      group.levels = static_cast<std::uint16_t>(group.levels + cell.heard);
      ++out.n_levels;
    }
    if (kind == GroupKind::inferred) {
      ++out.n_inferred_cells;
      return;
    }
    ++out.sector_cells[sector];
    if (line.range_km < near_km && cell.expected == schema::chances_per_window && cell.heard > 0)
      ++out.heard_histogram[static_cast<std::size_t>(std::clamp(cell.heard, 0, 255))];
  }

  void close(FlightState& state) {
    flush(state);
    extend_backwards(state);
    if (state.n_last >= 2) {
      const std::size_t kept = std::min(state.n_last, track_points);
      extend(state.index, state.last[(state.n_last - kept) % track_points],
             state.last[(state.n_last - 1) % track_points]);
    }
  }

  // Extensions count only while the receiver demonstrably heard others.
  void keep_extensions_heard_beside() {
    std::vector<std::uint32_t> heard_until(heard_in_window.size() + 1, 0);
    for (std::size_t i = 0; i < heard_in_window.size(); ++i)
      heard_until[i + 1] = heard_until[i] + heard_in_window[i];
    const auto n = static_cast<std::int64_t>(heard_in_window.size());
    // Each is given up once it has been looked at: the memory goes to `groups`.
    for (; !beyond.empty(); beyond.pop_front(), beyond_window.pop_front()) {
      const std::int64_t at = beyond_window.front() - first_window;
      const std::int64_t low = at - quiet_margin_windows, high = at + quiet_margin_windows;
      if (low < 0 || high > n) continue;
      // Both halves of the surrounding four minutes must hold somebody's reports.
      const auto mid = static_cast<std::size_t>(at);
      const bool before = heard_until[mid] > heard_until[static_cast<std::size_t>(low)];
      const bool after = heard_until[static_cast<std::size_t>(high)] > heard_until[mid];
      if (before && after) groups.push_back(beyond.front());
    }
  }

  // The sectors that each flight was recorded in, ascending; counts them on the way.
  std::vector<std::vector<std::uint16_t>> sectors_crossed() {
    std::vector<std::vector<std::uint16_t>> crossed(out.flights.size());
    for (const Group& group : groups) {
      if (group.kind != GroupKind::recorded) continue;
      auto& sectors = crossed[group.flight];
      const auto at = std::lower_bound(sectors.begin(), sectors.end(), group.sector);
      if (at != sectors.end() && *at == group.sector) continue;
      sectors.insert(at, group.sector);
      ++out.sector_flights[group.sector];
    }
    return crossed;
  }

  // By flight, then sector, then time.
  void sort_groups(const std::vector<bool>& stays) {
    for (const Group& group : groups) out.flights[group.flight].n_groups += stays[group.flight];
    std::uint32_t at = 0;
    std::vector<std::uint32_t> next;
    next.reserve(out.flights.size());
    for (FlightGroups& flight : out.flights) {
      flight.first_group = at;
      next.push_back(at);
      at += flight.n_groups;
    }
    out.groups.resize(at);
    for (; !groups.empty(); groups.pop_front()) {
      const Group& group = groups.front();
      if (stays[group.flight]) out.groups[next[group.flight]++] = group;
    }
    for (const FlightGroups& flight : out.flights) {
      const auto begin = out.groups.begin() + flight.first_group;
      std::stable_sort(begin, begin + flight.n_groups,
                       [](const Group& a, const Group& b) { return a.sector < b.sector; });
    }
  }
};

ExposureBuilder::ExposureBuilder(const site::Viewpoint& viewpoint, double sector_deg)
    : impl_(std::make_unique<Impl>(viewpoint, sector_deg)) {}
ExposureBuilder::ExposureBuilder(ExposureBuilder&&) noexcept = default;
ExposureBuilder& ExposureBuilder::operator=(ExposureBuilder&&) noexcept = default;
ExposureBuilder::~ExposureBuilder() = default;

void ExposureBuilder::add(const schema::Cell& cell, const schema::Flight& flight) {
  impl_->add(cell, flight,
             impl_->viewpoint.sight(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft));
}
void ExposureBuilder::add(const schema::Cell& cell, const schema::Flight& flight,
                          const site::Sighting& sighting) {
  impl_->add(cell, flight, sighting);
}

Exposure ExposureBuilder::finish(int flights_per_sector) {
  for (FlightState& state : impl_->states) impl_->flush(state);
  impl_->keep_extensions_heard_beside();
  const auto crossed = impl_->sectors_crossed();
  impl_->sort_groups(flights_per_sector > 0
                         ? sample(crossed, impl_->out.n_sectors, flights_per_sector)
                         : std::vector<bool>(crossed.size(), true));
  return std::move(impl_->out);
}

Exposure thinned(const Exposure& exposure, int flights_per_sector) {
  std::vector<std::vector<std::uint16_t>> crossed(exposure.flights.size());
  for (std::size_t f = 0; f < crossed.size(); ++f)
    for (const Group& group : exposure.of(exposure.flights[f]))
      if (group.kind == GroupKind::recorded &&
          (crossed[f].empty() || crossed[f].back() != group.sector))
        crossed[f].push_back(group.sector);
  const std::vector<bool> stays = sample(crossed, exposure.n_sectors, flights_per_sector);
  Exposure out{exposure, {}, exposure.flights};
  for (std::size_t f = 0; f < crossed.size(); ++f) {
    FlightGroups& flight = out.flights[f];
    const auto groups = exposure.of(flight);
    flight.first_group = static_cast<std::uint32_t>(out.groups.size());
    flight.n_groups = stays[f] ? flight.n_groups : 0;
    if (stays[f]) out.groups.insert(out.groups.end(), groups.begin(), groups.end());
  }
  return out;
}

}  // namespace roundel::pattern
