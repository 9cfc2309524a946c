#include "analysis/pattern/hour_exposure.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

namespace roundel::pattern {
namespace {

constexpr double ducting_ratio = 1.05;
constexpr double near_km = 100;

const BinEnds& bin_ends() {
  static const BinEnds ends;
  return ends;
}

GroupKind kind_of(const schema::Cell& cell) {
  return cell.uncertainty_km > 0 ? GroupKind::inferred : GroupKind::recorded;
}

}  // namespace

HourExposer::Following& HourExposer::following(const schema::Flight& flight) {
  std::uint32_t& near = near_[static_cast<std::size_t>(flight.id) % n_near];
  if (near < following_.size() && following_[near].so_far.flight.id == flight.id)
    return following_[near];
  const auto [known, is_new] =
      place_of_.try_emplace(flight.id, static_cast<std::uint32_t>(following_.size()));
  if (is_new) following_.emplace_back().so_far.flight = flight;
  near = known->second;
  return following_[near];
}

Group HourExposer::finished(const Run& run) const {
  Group group = run.group;
  const double n = group.cells;
  group.spreading_db = static_cast<float>(mean_spreading_db(run));
  group.elevation_deg = static_cast<float>(run.elevation_sum / n);
  group.bearing_off_deg =
      static_cast<float>(run.bearing_sum / n - sector_deg_ * (group.sector + 0.5));
  group.horizon_ratio = static_cast<float>(run.ratio_sum / n);
  if (run.aspects > 0) group.cos_aspect = static_cast<float>(run.aspect_sum / run.aspects);
  return group;
}

void HourExposer::flush(Following& one) const {
  if (one.run.open) one.so_far.groups.push_back(finished(one.run));
  one.run = Run{};
}

void HourExposer::add(const schema::Cell& cell, const schema::Flight& flight,
                      const site::Sighting& sighting, double horizon_km) {
  const site::Sightline& line = sighting.line;
  if (is_empty()) {
    hour_ = cell.window / schema::windows_per_hour;
    out_.counts.start_s = hour_ * 3600;
    out_.first_window = cell.window;
    out_.sector_cells.assign(static_cast<std::size_t>(n_sectors_), 0);
  }
  assert(is_of(cell.window));
  out_.last_window = cell.window;
  out_.silent_cells += cell.heard == 0;
  const double ratio = line.range_km / std::max(horizon_km, 1.0);
  ++out_.counts.cells;
  out_.counts.heard += cell.heard;
  out_.counts.chances += cell.expected;
  const bool is_beyond = cell.heard > 0 && ratio > ducting_ratio;
  out_.counts.beyond_horizon_cells += is_beyond;

  // What comes after a flight's stated end is no part of it.
  if (flight.last_window && cell.window > *flight.last_window) return;
  Following& one = following(flight);
  const TrackPoint here{cell.window, sighting.east_km, sighting.north_km, cell.altitude_ft};
  // Aspect: the course since the last point against the direction to the antenna.
  std::optional<double> cos_aspect;
  if (one.n_last > 0) {
    const TrackPoint& last = one.last[(one.n_last - 1) % track_points];
    const double dx = here.x_km - last.x_km, dy = here.y_km - last.y_km;
    const double scale = std::sqrt(dx * dx + dy * dy) * line.range_km;
    cos_aspect = scale > 1e-6 ? -(dx * here.x_km + dy * here.y_km) / scale : 0;
  }
  if (cell.heard > 0) {
    const std::int64_t window = cell.window % schema::windows_per_hour;
    out_.heard_windows.set(static_cast<std::size_t>(window));
    const std::int64_t minute = window * schema::window_s / 60;
    std::uint8_t& aircraft = out_.heard_aircraft[static_cast<std::size_t>(minute)];
    if (minute != std::exchange(one.heard_minute, minute) && aircraft < UINT8_MAX) ++aircraft;
    if (one.n_first < track_points) one.first[one.n_first++] = here;
    one.last[one.n_last++ % track_points] = here;
  }
  const bool is_first = cell.window == flight.first_window;
  if (is_first || cell.window == flight.last_window) {
    ++out_.partial_cells;
    Run run;
    open(run, line, kind_of(cell));
    extend(run, cell, line, ratio, cos_aspect);
    (is_first ? one.so_far.first_cell : one.so_far.last_cell) = finished(run);
  } else if (!is_beyond) {
    record(one, cell, line, ratio, cos_aspect);
  }
}

void HourExposer::open(Run& run, const site::Sightline& line, GroupKind kind) const {
  const double slant_km = std::max(line.slant_km, 0.1);
  run.open = true;
  bin_ends().set(run, slant_km, line.elevation_deg);
  run.first_slant_km = slant_km;
  run.slant_product = 1;
  run.group.sector = sector_of(line.bearing_deg, sector_deg_, n_sectors_);
  run.group.kind = kind;
}

void HourExposer::extend(Run& run, const schema::Cell& cell, const site::Sightline& line,
                         double ratio, std::optional<double> cos_aspect) {
  run.slant_product *= std::max(line.slant_km, 0.1) / run.first_slant_km;
  run.elevation_sum += line.elevation_deg;
  run.bearing_sum += line.bearing_deg;
  run.ratio_sum += ratio;
  if (cos_aspect) run.aspect_sum += *cos_aspect, ++run.aspects;
  Group& group = run.group;
  ++group.cells;
  group.heard = static_cast<std::uint16_t>(group.heard + cell.heard);
  group.chances = static_cast<std::uint16_t>(group.chances + cell.expected);
  if (cell.signal_dbfs && cell.heard > 0) {
    group.level_sum_db += static_cast<float>(*cell.signal_dbfs * cell.heard);
    group.levels = static_cast<std::uint16_t>(group.levels + cell.heard);
  }
}

void HourExposer::record(Following& one, const schema::Cell& cell, const site::Sightline& line,
                         double ratio, std::optional<double> cos_aspect) {
  const double slant_km = std::max(line.slant_km, 0.1);
  const std::uint16_t sector = sector_of(line.bearing_deg, sector_deg_, n_sectors_);
  const GroupKind kind = kind_of(cell);
  Run& run = one.run;
  if (run.open &&
      (run.group.sector != sector || run.group.kind != kind || slant_km <= run.slant_from_km ||
       slant_km > run.slant_to_km || line.elevation_deg < run.elevation_from_deg ||
       line.elevation_deg >= run.elevation_to_deg || run.group.cells >= 200))
    flush(one);
  if (!run.open) open(run, line, kind);
  extend(run, cell, line, ratio, cos_aspect);
  out_.levels += cell.signal_dbfs && cell.heard > 0;
  if (kind == GroupKind::inferred) {
    ++out_.inferred_cells;
    return;
  }
  ++out_.sector_cells[sector];
  if (line.range_km < near_km && cell.expected == schema::chances_per_window && cell.heard > 0)
    ++out_.heard_histogram[static_cast<std::size_t>(std::clamp(cell.heard, 0, 255))];
}

HourExposure HourExposer::take() {
  const std::int64_t first = hour_ * schema::windows_per_hour,
                     end = first + schema::windows_per_hour;
  const auto is_here = [&](std::int64_t window) { return window >= first && window < end; };
  out_.flights.reserve(following_.size());
  for (Following& one : following_) {
    flush(one);
    FlightHour& hour = one.so_far;
    if (is_here(hour.flight.first_window) && one.n_first >= 2)
      hour.backwards = Ending{one.first[one.n_first - 1], one.first[0]};
    if (hour.flight.last_window && is_here(*hour.flight.last_window) && one.n_last >= 2) {
      const std::size_t kept = std::min(one.n_last, track_points);
      hour.forwards = Ending{one.last[(one.n_last - kept) % track_points],
                             one.last[(one.n_last - 1) % track_points]};
    }
    out_.flights.push_back(std::move(hour));
  }
  following_.clear();
  place_of_.clear();
  return std::exchange(out_, HourExposure{});
}

void add_each(std::vector<std::int64_t>& to, const std::vector<std::int64_t>& more) {
  assert(to.size() == more.size());
  std::transform(to.begin(), to.end(), more.begin(), to.begin(), std::plus<>());
}

void join(HourExposure& into, HourExposure other) {
  assert(into.sector_cells.size() == other.sector_cells.size());
  into.counts += other.counts;
  into.first_window = std::min(into.first_window, other.first_window);
  into.last_window = std::max(into.last_window, other.last_window);
  into.silent_cells += other.silent_cells;
  into.partial_cells += other.partial_cells;
  into.inferred_cells += other.inferred_cells;
  into.levels += other.levels;
  add_each(into.sector_cells, other.sector_cells);
  add_each(into.heard_histogram, other.heard_histogram);
  into.heard_windows |= other.heard_windows;
  for (std::size_t minute = 0; minute < into.heard_aircraft.size(); ++minute)
    into.heard_aircraft[minute] = static_cast<std::uint8_t>(
        std::min(UINT8_MAX, into.heard_aircraft[minute] + other.heard_aircraft[minute]));
  for (FlightHour& late : other.flights) {
    const auto known =
        std::find_if(into.flights.begin(), into.flights.end(),
                     [&](const FlightHour& flight) { return flight.flight.id == late.flight.id; });
    if (known == into.flights.end()) {
      into.flights.push_back(std::move(late));
      continue;
    }
    known->groups.insert(known->groups.end(), late.groups.begin(), late.groups.end());
    if (!known->first_cell) known->first_cell = late.first_cell;
    if (!known->last_cell) known->last_cell = late.last_cell;
    if (!known->backwards) known->backwards = late.backwards;
    if (!known->forwards) known->forwards = late.forwards;
  }
}

void widen(HourExposure& hour, double sector_deg, int times) {
  if (times == 1) return;
  const std::size_t n = hour.sector_cells.size() / static_cast<std::size_t>(times);
  std::vector<std::int64_t> cells(n);
  for (std::size_t s = 0; s < n * static_cast<std::size_t>(times); ++s)
    cells[s / static_cast<std::size_t>(times)] += hour.sector_cells[s];
  hour.sector_cells = std::move(cells);
  const auto place = [&](Group& group) {
    // From the middle of its own sector to that of the wide one.
    const int within = group.sector % times;
    group.bearing_off_deg += static_cast<float>(sector_deg * (within - (times - 1) / 2.0));
    group.sector = static_cast<std::uint16_t>(group.sector / times);
  };
  for (FlightHour& flight : hour.flights) {
    for (Group& group : flight.groups) place(group);
    if (flight.first_cell) place(*flight.first_cell);
    if (flight.last_cell) place(*flight.last_cell);
  }
}

}  // namespace roundel::pattern
