#include "roundel/pattern/exposure.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <unordered_map>
#include <utility>

#include "analysis/pattern/flight_sample.h"
#include "analysis/pattern/horizon_table.h"
#include "analysis/pattern/hour_exposure.h"

namespace roundel::pattern {
namespace {

constexpr double landing_ft = 10000;
constexpr int beyond_windows = 30;        // five minutes
constexpr int quiet_margin_windows = 12;  // two minutes

// A flight that has ended, or whose record has.
struct EndedFlight {
  std::vector<Group> groups;
  std::optional<Ending> backwards, forwards;
};

struct FlightState {
  std::uint32_t index{};  // in order of appearance
  EndedFlight so_far;
};

}  // namespace

struct ExposureBuilder::Impl {
  const site::Viewpoint& viewpoint;
  Exposure out;
  std::unique_ptr<site::Limit> limit;
  HorizonTable horizons;
  HourExposer coming;  // the hour whose cells come in
  int flights_per_sector;
  Prospects prospects;
  std::unordered_map<schema::Id, FlightState> open;  // flights that have not ended
  std::vector<Candidacy> candidacies;                // of every flight
  std::vector<EndedFlight> ended;                    // of every flight; empty where it cannot stay
  std::vector<std::uint8_t> heard_in_window;         // by window - first_window
  std::int64_t first_window = 0;
  std::int64_t first_hour = 0;

  Impl(const site::Viewpoint& from, double sector_deg, int in_a_sector)
      : viewpoint(from),
        limit(site::effective_earth_limit(from)),
        horizons(*limit),
        coming(sector_deg),
        flights_per_sector(in_a_sector),
        prospects(static_cast<int>(std::lround(360 / sector_deg)), in_a_sector) {
    assert(sector_deg >= 1 && sector_deg <= 45 && in_a_sector >= 0);
    out.sector_deg = sector_deg;
    out.n_sectors = static_cast<int>(std::lround(360 / sector_deg));
    out.sector_cells.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.sector_flights.assign(static_cast<std::size_t>(out.n_sectors), 0);
    out.heard_histogram.assign(256, 0);
  }

  // By flight number. Of an hour's flights all are open: HourExposer leaves out what comes after an
  // end.
  FlightState& state_of(const schema::Flight& flight) {
    const auto [known, is_new] = open.try_emplace(flight.id);
    if (!is_new) return known->second;
    FlightState& state = known->second;
    state.index = static_cast<std::uint32_t>(out.flights.size());
    out.flights.push_back({flight.id, flight.address, 0, 0, state.index});
    candidacies.push_back({sample_key(state.index), {}});
    ended.emplace_back();
    return state;
  }

  std::uint16_t hour_of(std::int64_t window) {
    const std::int64_t hour = window / schema::windows_per_hour;
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
      group.sector = sector_of(bearing_deg, out.sector_deg, out.n_sectors);
      group.hour = hour_of(window);
      group.flight = flight;
      group.kind = GroupKind::beyond;
      visit(group, window);
    }
  }

  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
    if (!coming.is_of(cell.window)) take_hour();
    coming.add(cell, flight, sighting, horizons.at(sighting.line.bearing_deg, cell.altitude_ft));
  }

  void take_hour() {
    if (!coming.is_empty()) take(coming.take());
  }

  void take(HourExposure more) {
    if (out.n_cells == 0) first_window = more.first_window;
    const std::uint16_t at = hour_of(more.first_window);
    count(more, out.hours[at]);
    for (FlightHour& flight : more.flights) {
      FlightState& state = state_of(flight.flight);
      EndedFlight& so_far = state.so_far;
      for (Group& group : flight.groups) {
        group.hour = at;
        group.flight = state.index;
      }
      if (so_far.groups.empty())
        so_far.groups = std::move(flight.groups);
      else
        so_far.groups.insert(so_far.groups.end(), flight.groups.begin(), flight.groups.end());
      if (!so_far.backwards) so_far.backwards = flight.backwards;
      so_far.forwards = flight.forwards;
      if (flight.flight.last_window && *flight.flight.last_window / schema::windows_per_hour <=
                                           more.first_window / schema::windows_per_hour) {
        close(state);
        open.erase(flight.flight.id);
      }
    }
  }

  void count(const HourExposure& more, Hour& of_hour) {
    out.n_cells += more.counts.cells;
    out.n_silent_cells += more.silent_cells;
    out.n_partial_cells += more.partial_cells;
    out.n_inferred_cells += more.inferred_cells;
    out.n_beyond_horizon_cells += more.counts.beyond_horizon_cells;
    out.n_levels += more.levels;
    of_hour += more.counts;
    const std::int64_t from_s = more.first_window * schema::window_s;
    const std::int64_t to_s = (more.last_window + 1) * schema::window_s;
    out.from_s = std::min(out.from_s.value_or(from_s), from_s);
    out.to_s = std::max(out.to_s.value_or(to_s), to_s);
    add_each(out.sector_cells, more.sector_cells);
    add_each(out.heard_histogram, more.heard_histogram);
    const std::int64_t first =
        more.first_window / schema::windows_per_hour * schema::windows_per_hour - first_window;
    const auto end = static_cast<std::size_t>(first + schema::windows_per_hour);
    if (end > heard_in_window.size()) heard_in_window.resize(end);
    for (std::int64_t i = std::max<std::int64_t>(0, -first); i < schema::windows_per_hour; ++i)
      if (more.heard_windows[static_cast<std::size_t>(i)])
        heard_in_window[static_cast<std::size_t>(first + i)] = 1;
  }

  void close(FlightState& state) {
    EndedFlight& flight = state.so_far;
    Candidacy& candidacy = candidacies[state.index];
    std::vector<std::uint16_t>& sectors = candidacy.sectors;
    int last = -1;  // groups of a sector follow each other
    for (const Group& group : flight.groups) {
      if (group.kind != GroupKind::recorded || std::exchange(last, group.sector) == group.sector)
        continue;
      const auto at = std::lower_bound(sectors.begin(), sectors.end(), group.sector);
      if (at == sectors.end() || *at != group.sector) sectors.insert(at, group.sector);
    }
    for (const std::uint16_t sector : sectors) ++out.sector_flights[sector];
    // The record's hours go on to where its flights are taken to go, sampled or not.
    if (flight.forwards &&
        (flight.forwards->end.window + beyond_windows) / schema::windows_per_hour - first_hour >=
            static_cast<std::int64_t>(out.hours.size()))
      extend(state.index, *flight.forwards, [](const Group&, std::int64_t) {});
    if (flights_per_sector == 0 || prospects.has_any(candidacy))
      ended[state.index] = std::move(flight);
  }

  // Extensions count only while the receiver demonstrably heard others.
  class HeardBeside {
   public:
    HeardBeside(const std::vector<std::uint8_t>& heard_in_window, std::int64_t first_window)
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

void ExposureBuilder::add(HourExposure hour) {
  impl_->take_hour();
  impl_->take(std::move(hour));
}

Exposure ExposureBuilder::finish() {
  impl_->take_hour();
  // In order of appearance, for the sample.
  std::vector<FlightState*> still_open;
  for (auto& [id, state] : impl_->open) still_open.push_back(&state);
  std::sort(still_open.begin(), still_open.end(),
            [](const auto* a, const auto* b) { return a->index < b->index; });
  for (FlightState* state : still_open) impl_->close(*state);
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
