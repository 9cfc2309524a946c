#include "roundel/pattern/exposure.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>
#include <utility>

#include "analysis/pattern/flight_sample.h"
#include "analysis/pattern/horizon_table.h"
#include "analysis/pattern/run_of_cells.h"

namespace roundel::pattern {
namespace {

constexpr float elevation_step_deg = 0.25F;
constexpr double ducting_ratio = 1.05;
constexpr double landing_ft = 10000;
constexpr int beyond_windows = 30;        // five minutes
constexpr int quiet_margin_windows = 12;  // two minutes
constexpr std::int64_t hour_windows = 3600 / schema::window_s;
constexpr std::size_t track_points = 7;  // a minute of heard cells gives the track
constexpr double near_km = 100;

// Position on the plane of range and bearing (azimuthal equidistant), with time and height.
struct TrackPoint {
  std::int64_t window{};
  double x_km{}, y_km{}, altitude_ft{};
};

// How a flight goes on past one of its ends: through `end`, coming from `before`.
struct Ending {
  TrackPoint before, end;
};

// A flight that has ended, or whose record has.
struct EndedFlight {
  std::vector<Group> groups;
  std::optional<Ending> backwards, forwards;
};

struct FlightState {
  std::uint32_t index{};  // in order of appearance
  Run run;
  std::vector<Group> groups;
  std::array<TrackPoint, track_points> first{}, last{};
  std::size_t n_first{}, n_last{};  // n_last counts all; last is a ring
};

}  // namespace

struct ExposureBuilder::Impl {
  const site::Viewpoint& viewpoint;
  Exposure out;
  std::unique_ptr<site::Limit> limit;
  HorizonTable horizons;
  BinEnds bin_ends;
  int flights_per_sector;
  Prospects prospects;
  static constexpr std::uint32_t not_seen = 0, has_ended = ~std::uint32_t{0};
  std::vector<std::uint32_t> slot_of;          // by id: 1 more than its place in `states`
  std::vector<FlightState> states;             // of flights that have not ended
  std::vector<std::uint32_t> idle;             // places in it that are free
  std::vector<Candidacy> candidacies;          // of every flight
  std::vector<EndedFlight> ended;              // of every flight; empty where it cannot stay
  std::vector<std::uint32_t> heard_in_window;  // by window - first_window_
  std::int64_t first_window = 0;
  std::int64_t first_hour = 0;

  Impl(const site::Viewpoint& from, double sector_deg, int in_a_sector)
      : viewpoint(from),
        limit(site::effective_earth_limit(from)),
        horizons(*limit),
        flights_per_sector(in_a_sector),
        prospects(static_cast<int>(std::lround(360 / sector_deg)), in_a_sector) {
    assert(sector_deg >= 1 && sector_deg <= 45 && in_a_sector >= 0);
    out.sector_deg = sector_deg;
    out.n_sectors = static_cast<int>(std::lround(360 / sector_deg));
    out.sector_cells.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.sector_flights.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.heard_histogram.assign(256, 0);
  }

  // None for one that has ended: what comes after a flight's stated end is no part of it.
  FlightState* state_of(const schema::Flight& flight) {
    const auto id = static_cast<std::size_t>(flight.id);
    if (id >= slot_of.size()) slot_of.resize(id + 1 + id / 2, not_seen);
    std::uint32_t& slot = slot_of[id];
    if (slot == has_ended) return nullptr;
    if (slot != not_seen) return &states[slot - 1];
    if (idle.empty()) {
      idle.push_back(static_cast<std::uint32_t>(states.size()));
      states.emplace_back();
    }
    slot = idle.back() + 1;
    idle.pop_back();
    FlightState& state = states[slot - 1];
    state.index = static_cast<std::uint32_t>(out.flights.size());
    out.flights.push_back({flight.id, flight.address, 0, 0, state.index});
    candidacies.push_back({sample_key(state.index), {}});
    ended.emplace_back();
    return &state;
  }

  std::uint16_t sector_of(double bearing_deg) const {
    const auto sector = static_cast<int>(bearing_deg / out.sector_deg);
    return static_cast<std::uint16_t>(std::min(sector, out.n_sectors - 1));
  }

  std::uint16_t hour_of(std::int64_t window) {
    const std::int64_t hour = window / hour_windows;
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
    run.group.spreading_db = static_cast<float>(mean_spreading_db(run));
    run.group.elevation_deg = static_cast<float>(run.elevation_sum / n);
    run.group.bearing_off_deg =
        static_cast<float>(run.bearing_sum / n - out.sector_deg * (run.group.sector + 0.5));
    run.group.horizon_ratio = static_cast<float>(run.ratio_sum / n);
    run.group.cos_aspect = static_cast<float>(run.aspect_sum / n);
    state.groups.push_back(run.group);
    run = Run{};
  }

  void note_heard(std::int64_t window) {
    const auto at = static_cast<std::size_t>(window - first_window);
    if (at >= heard_in_window.size()) heard_in_window.resize(at + 1 + at / 2, 0);
    ++heard_in_window[at];
  }

  // Calls `visit` with the silent cells past an end, and their windows.
  template <class Visit>
  void extend(std::uint32_t flight, const Ending& ending, const Visit& visit) {
    const TrackPoint &before = ending.before, &end = ending.end;
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
      group.spreading_db = static_cast<float>(spreading_db(line.slant_km));
      group.elevation_deg = static_cast<float>(line.elevation_deg);
      group.horizon_ratio = static_cast<float>(ratio);
      group.cells = 1;
      group.chances = schema::chances_per_window;
      group.sector = sector_of(bearing_deg);
      group.hour = hour_of(window);
      group.flight = flight;
      group.kind = GroupKind::beyond;
      visit(group, window);
    }
  }

  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    const site::Sightline& line = sighting.line;
    if (out.n_cells == 0) first_window = cell.window;
    ++out.n_cells;
    out.n_silent_cells += cell.heard == 0;
    const auto start_s = cell.window * schema::window_s;
    if (!out.from_s) out.from_s = start_s;
    out.to_s = start_s + schema::window_s;

    FlightState* const open = state_of(flight);
    const std::uint16_t hour = hour_of(cell.window);
    const double horizon_km = horizons.at(line.bearing_deg, cell.altitude_ft);
    const double ratio = line.range_km / std::max(horizon_km, 1.0);
    Hour& of_hour = out.hours[hour];
    ++of_hour.cells;
    of_hour.heard += cell.heard;
    of_hour.chances += cell.expected;
    const bool is_beyond = cell.heard > 0 && ratio > ducting_ratio;
    if (is_beyond) ++of_hour.beyond_horizon_cells, ++out.n_beyond_horizon_cells;

    if (!open) return;
    FlightState& state = *open;
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
      state.last[state.n_last++ % track_points] = here;
    }

    const bool is_partial = cell.window == flight.first_window || cell.window == flight.last_window;
    if (is_partial) {
      ++out.n_partial_cells;
    } else if (!is_beyond) {
      record(state, cell, line, ratio, cos_aspect, hour);
    }
    if (cell.window == flight.last_window) {
      close(state, true);
      idle.push_back(std::exchange(slot_of[static_cast<std::size_t>(flight.id)], has_ended) - 1);
    }
  }

  void record(FlightState& state, const schema::Cell& cell, const site::Sightline& line,
              double ratio, double cos_aspect, std::uint16_t hour) {
    const double slant_km = std::max(line.slant_km, 0.1);
    const auto elevation_bin =
        static_cast<std::int64_t>(std::floor(line.elevation_deg / elevation_step_deg));
    const std::uint16_t sector = sector_of(line.bearing_deg);
    const GroupKind kind = cell.uncertainty_km > 0 ? GroupKind::inferred : GroupKind::recorded;
    Run& run = state.run;
    if (run.open &&
        (run.group.sector != sector || run.group.hour != hour || run.group.kind != kind ||
         slant_km <= run.slant_from_km || slant_km > run.slant_to_km ||
         run.elevation_bin != elevation_bin || run.group.cells >= 200))
      flush(state);
    if (!run.open) {
      run.open = true;
      bin_ends.set(run, slant_km);
      run.first_slant_km = slant_km;
      run.slant_product = 1;
      run.elevation_bin = elevation_bin;
      run.group.sector = sector;
      run.group.hour = hour;
      run.group.kind = kind;
      run.group.flight = state.index;
    }
    run.slant_product *= slant_km / run.first_slant_km;
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

  // `is_over`: the flight has ended; otherwise the record has. Leaves the state as new.
  void close(FlightState& state, bool is_over) {
    flush(state);
    Candidacy& candidacy = candidacies[state.index];
    std::vector<std::uint16_t>& sectors = candidacy.sectors;
    for (const Group& group : state.groups) {
      if (group.kind != GroupKind::recorded) continue;
      const auto at = std::lower_bound(sectors.begin(), sectors.end(), group.sector);
      if (at == sectors.end() || *at != group.sector) sectors.insert(at, group.sector);
    }
    for (const std::uint16_t sector : sectors) ++out.sector_flights[sector];
    std::optional<Ending> backwards, forwards;
    // A minute gives a track. What there is of it does, of a flight that has ended.
    if (state.n_first == track_points || (is_over && state.n_first >= 2))
      backwards = Ending{state.first[state.n_first - 1], state.first[0]};
    if (is_over && state.n_last >= 2) {
      const std::size_t kept = std::min(state.n_last, track_points);
      forwards = Ending{state.last[(state.n_last - kept) % track_points],
                        state.last[(state.n_last - 1) % track_points]};
      // The record's hours go on to where its flights are taken to go, sampled or not.
      if ((forwards->end.window + beyond_windows) / hour_windows - first_hour >=
          static_cast<std::int64_t>(out.hours.size()))
        extend(state.index, *forwards, [](const Group&, std::int64_t) {});
    }
    if (flights_per_sector == 0 || prospects.has_any(candidacy))
      ended[state.index] = {{state.groups.begin(), state.groups.end()}, backwards, forwards};
    state.groups.clear();  // and its memory serves the next
    state.n_first = state.n_last = 0;
  }

  // Extensions count only while the receiver demonstrably heard others.
  class HeardBeside {
   public:
    HeardBeside(const std::vector<std::uint32_t>& heard_in_window, std::int64_t first_window)
        : first_window_(first_window), until_(heard_in_window.size() + 1, 0) {
      for (std::size_t i = 0; i < heard_in_window.size(); ++i)
        until_[i + 1] = until_[i] + heard_in_window[i];
    }
    bool at(std::int64_t window) const {
      const std::int64_t middle = window - first_window_;
      const std::int64_t low = middle - quiet_margin_windows, high = middle + quiet_margin_windows;
      if (low < 0 || high >= static_cast<std::int64_t>(until_.size())) return false;
      // Both halves of the surrounding four minutes must hold somebody's reports.
      const auto mid = static_cast<std::size_t>(middle);
      return until_[mid] > until_[static_cast<std::size_t>(low)] &&
             until_[static_cast<std::size_t>(high)] > until_[mid];
    }

   private:
    std::int64_t first_window_;
    std::vector<std::uint32_t> until_;
  };

  // By flight, then sector, then time. Each flight's own is given up once it has been copied.
  void arrange(const std::vector<bool>& stays) {
    const HeardBeside beside(heard_in_window, first_window);
    std::size_t n_groups = 0;
    for (std::size_t f = 0; f < ended.size(); ++f)
      n_groups += stays[f] ? ended[f].groups.size() + 2 * beyond_windows : 0;
    out.groups.reserve(n_groups);
    std::vector<FlightGroups> staying;
    for (std::size_t f = 0; f < ended.size(); ++f) {
      EndedFlight flight = std::exchange(ended[f], {});
      if (!stays[f]) continue;
      const auto index = static_cast<std::uint32_t>(staying.size());
      const auto first = static_cast<std::ptrdiff_t>(out.groups.size());
      for (const auto& ending : {flight.backwards, flight.forwards})
        if (ending)
          extend(index, *ending, [&](const Group& group, std::int64_t window) {
            if (beside.at(window)) flight.groups.push_back(group);
          });
      for (Group& group : flight.groups) group.flight = index;
      out.groups.insert(out.groups.end(), flight.groups.begin(), flight.groups.end());
      std::stable_sort(out.groups.begin() + first, out.groups.end(),
                       [](const Group& a, const Group& b) { return a.sector < b.sector; });
      staying.push_back(out.flights[f]);
      staying.back().first_group = static_cast<std::uint32_t>(first);
      staying.back().n_groups = static_cast<std::uint32_t>(flight.groups.size());
    }
    out.flights = std::move(staying);
  }
};

ExposureBuilder::ExposureBuilder(const site::Viewpoint& viewpoint, double sector_deg,
                                 int flights_per_sector)
    : impl_(std::make_unique<Impl>(viewpoint, sector_deg, flights_per_sector)) {}
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

Exposure ExposureBuilder::finish() {
  for (std::uint32_t& slot : impl_->slot_of)
    if (slot != Impl::not_seen && slot != Impl::has_ended)
      impl_->close(impl_->states[std::exchange(slot, Impl::has_ended) - 1], false);
  Exposure& out = impl_->out;
  out.n_flights = static_cast<std::int64_t>(out.flights.size());
  impl_->arrange(impl_->flights_per_sector > 0
                     ? sample(impl_->candidacies, out.n_sectors, impl_->flights_per_sector)
                     : std::vector<bool>(out.flights.size(), true));
  return std::move(out);
}

Exposure thinned(const Exposure& exposure, int flights_per_sector) {
  std::vector<Candidacy> crossed(exposure.flights.size());
  for (std::size_t f = 0; f < crossed.size(); ++f) {
    crossed[f].key = sample_key(exposure.flights[f].ordinal);
    std::vector<std::uint16_t>& sectors = crossed[f].sectors;
    for (const Group& group : exposure.of(exposure.flights[f]))
      if (group.kind == GroupKind::recorded && (sectors.empty() || sectors.back() != group.sector))
        sectors.push_back(group.sector);
  }
  const std::vector<bool> stays = sample(crossed, exposure.n_sectors, flights_per_sector);
  Exposure out{static_cast<const ExposureCounts&>(exposure), {}, exposure.flights};
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
