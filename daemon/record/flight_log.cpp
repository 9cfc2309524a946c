#include "daemon/record/flight_log.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace roundel::record {
namespace {

constexpr double track_s = 120;  // heard cells that dead reckoning is made from
constexpr std::size_t enough_cells = 4;
constexpr std::int64_t enough_windows = 6;
constexpr double most_expected_of_one = 4;

std::size_t slot_of(std::int64_t window) {
  return static_cast<std::size_t>(window) % FlightLog::n_open_windows;
}

double start_s(std::int64_t window) { return static_cast<double>(window * schema::window_s); }

template <std::size_t n>
void append(HeardCells<n>& to, const HeardCell& cell) {
  std::size_t n_old = 0;
  while (n_old < to.size && to.cells[n_old].time_s < cell.time_s - track_s) ++n_old;
  if (n_old == 0 && to.size == n) n_old = 1;
  std::move(to.cells.begin() + static_cast<std::ptrdiff_t>(n_old),
            to.cells.begin() + static_cast<std::ptrdiff_t>(to.size), to.cells.begin());
  to.size -= n_old;
  to.cells[to.size++] = cell;
}

}  // namespace

FlightLog::OpenFlight* FlightLog::get(const FlightRef& ref) noexcept {
  if (ref.place < 0) return nullptr;
  OpenFlight& flight = flights_[static_cast<std::size_t>(ref.place)];
  return flight.is_live && flight.row.id == ref.id ? &flight : nullptr;
}

FlightLog::OpenFlight* FlightLog::find(const Aircraft& aircraft, schema::Id trial,
                                       std::int64_t window) noexcept {
  for (const FlightRef& ref : {aircraft.current, aircraft.previous}) {
    OpenFlight* flight = get(ref);
    if (flight == nullptr || flight->row.trial != trial || flight->is_superseded) continue;
    const std::int64_t break_s = (window - flight->last_window) * schema::window_s;
    if (static_cast<double>(break_s) <= rules_.flight_break_s) return flight;
  }
  return nullptr;
}

FlightRef FlightLog::begin(const Aircraft& aircraft, const TrialSpan& trial, std::int64_t window) {
  std::int32_t place;
  if (free_.empty()) {
    place = static_cast<std::int32_t>(flights_.size());
    flights_.emplace_back();
  } else {
    place = free_.back();
    free_.pop_back();
  }
  OpenFlight& flight = flights_[static_cast<std::size_t>(place)];
  flight = OpenFlight{};
  flight.row = {ids_.take(), trial.trial, aircraft.address, window, std::nullopt};
  flight.place = place;
  flight.is_live = flight.is_changed = true;
  flight.trial = trial;
  flight.last_window = window;
  ++n_live_;
  return {place, flight.row.id};
}

bool FlightLog::record(Aircraft& aircraft, const Fix& fix, const TrialSpan& trial) {
  const std::int64_t window = window_of(fix.time_s);
  assert(window > closed_ && window <= closed_ + n_open_windows);
  OpenFlight* flight = find(aircraft, trial.trial, window);
  if (flight == nullptr) {
    if (n_live_ >= capacity || ids_.next() > schema::max_flight_id) return false;
    aircraft.previous = aircraft.current;
    aircraft.current = begin(aircraft, trial, window);
    flight = get(aircraft.current);
  }
  if (window < flight->row.first_window) {
    flight->row.first_window = window;
    flight->is_changed = true;
  }
  flight->last_window = std::max(flight->last_window, window);
  CellSum& cell = flight->open[slot_of(window)];
  if (cell.window != window) {
    cell = CellSum{};
    cell.window = window;
  }
  cell.add(fix);
  return true;
}

void FlightLog::mark_heard(const Aircraft& aircraft, double time_s) noexcept {
  OpenFlight* flight = get(aircraft.current);
  if (flight == nullptr) return;
  const std::int64_t window = window_of(time_s);
  if (flight->uncounted_to < flight->uncounted_from) {
    flight->uncounted_from = flight->uncounted_to = window;
  } else {
    flight->uncounted_from = std::min(flight->uncounted_from, window);
    flight->uncounted_to = std::max(flight->uncounted_to, window);
  }
}

void FlightLog::split(Aircraft& aircraft) noexcept {
  for (FlightRef* ref : {&aircraft.current, &aircraft.previous}) {
    if (OpenFlight* flight = get(*ref)) flight->is_superseded = true;
    *ref = {};
  }
}

int FlightLog::expected(const OpenFlight& flight, std::int64_t window) const noexcept {
  const double from_s = std::max(start_s(window), flight.trial.from_s);
  const double to_s = std::min(start_s(window + 1), flight.trial.to_s);
  if (from_s >= to_s) return 0;
  const double share =
      coverage_.listened_s(from_s, to_s, flight.resumed_until_s) / schema::window_s;
  return static_cast<int>(std::lround(schema::chances_per_window * std::min(share, 1.0)));
}

int FlightLog::expected(const OpenFlight& flight, const CellSum& cell) const noexcept {
  if (cell.earlier_expected == 0) return std::max(1, expected(flight, cell.window));
  const double from_s = std::max(start_s(cell.window), flight.trial.from_s);
  const double to_s = std::min(start_s(cell.window + 1), flight.trial.to_s);
  const double share = from_s < to_s ? coverage_.listened_s(from_s, to_s, 0) / schema::window_s : 0;
  const int here = static_cast<int>(std::lround(schema::chances_per_window * share));
  return std::min(schema::chances_per_window, cell.earlier_expected + here);
}

void FlightLog::give(const OpenFlight& flight, CellSum& cell) {
  const int chances = expected(flight, cell);
  if (cell.heard == cell.given_heard && chances == cell.given_expected) return;
  cell.given_heard = cell.heard;
  cell.given_expected = chances;
  cells_.push_back(cell.cell(flight.row.id, chances));
}

void FlightLog::give_silent(const OpenFlight& flight, std::int64_t window, const Waypoint& at,
                            double uncertainty_km) {
  if (is_muted_) return;
  const int chances = expected(flight, window);
  if (chances == 0) return;
  schema::Cell cell;
  cell.window = window;
  cell.flight = flight.row.id;
  cell.expected = chances;
  cell.latitude_deg = at.place.latitude_deg;
  cell.longitude_deg = at.place.longitude_deg;
  cell.altitude_ft = at.altitude_ft;
  cell.uncertainty_km = uncertainty_km;
  cells_.push_back(cell);
}

void FlightLog::fill(const OpenFlight& flight, const HeardCell& from, const HeardCell& to) {
  for (std::int64_t window = from.window + 1; window < to.window; ++window) {
    if (window >= flight.uncounted_from && window <= flight.uncounted_to) continue;
    give_silent(flight, window, waypoint(from, to, start_s(window) + 0.5 * schema::window_s), 0);
  }
}

void FlightLog::fill(const OpenFlight& flight, const Gap& gap) {
  const auto path = StraightPath::find(gap.before.span(), gap.after.span());
  if (!path) return;
  const std::int64_t end = gap.after.cells[0].window;
  for (std::int64_t window = gap.before.span().back().window + 1; window < end; ++window) {
    if (window >= gap.heard_from && window <= gap.heard_to) continue;
    const double middle_s = start_s(window) + 0.5 * schema::window_s;
    give_silent(flight, window, path->at(middle_s), path->uncertainty_km(middle_s));
  }
}

void FlightLog::note_crowding(const CellSum& cell) noexcept {
  // At gaps of 0.4 s an aircraft sends 25 in a window.
  constexpr int most_sent = 25, remembered = 256;
  if (cell.heard < schema::chances_per_window) return;
  n_full_ = std::min(n_full_ + 1, remembered);
  crowded_share_ += ((cell.heard > most_sent ? 1 : 0) - crowded_share_) / n_full_;
}

// A heard cell is complete: fills the gap before it, if there is one.
void FlightLog::follow(OpenFlight& flight, const HeardCell& cell) {
  if (flight.heard.size > 0) {
    const HeardCell& before = flight.heard.span().back();
    const std::int64_t gap_s = (cell.window - before.window) * schema::window_s;
    if (gap_s > schema::window_s && static_cast<double>(gap_s) <= rules_.bridge_s) {
      fill(flight, before, cell);
    } else if (static_cast<double>(gap_s) > rules_.bridge_s &&
               static_cast<double>(gap_s) <= rules_.infer_s) {
      if (flight.gap) fill(flight, *flight.gap);
      flight.gap = Gap{flight.heard, {}, flight.uncounted_from, flight.uncounted_to};
    }
  }
  if (flight.gap) {
    append(flight.gap->after, cell);
    if (flight.gap->after.size >= enough_cells) {
      fill(flight, *flight.gap);
      flight.gap.reset();
    }
  }
  append(flight.heard, cell);
  flight.uncounted_from = std::max(flight.uncounted_from, cell.window + 1);
}

void FlightLog::end(OpenFlight& flight) {
  if (flight.gap) fill(flight, *flight.gap);
  flight.row.last_window = flight.last_window;
  rows_.push_back(flight.row);
  flight.is_live = false;
  --n_live_;
  free_.push_back(flight.place);
}

void FlightLog::close_window(std::int64_t window) {
  assert(window > closed_);
  for (OpenFlight& flight : flights_) {
    if (!flight.is_live) continue;
    CellSum& cell = flight.open[slot_of(window)];
    const bool is_heard = cell.window == window && cell.heard > 0;
    flight.recent_heard +=
        (static_cast<float>(is_heard ? cell.heard : 0) - flight.recent_heard) / 3;
    if (is_heard) {
      give(flight, cell);
      note_crowding(cell);
      follow(flight,
             {window, cell.mean_time_s(), cell.place.mean(), cell.altitude_sum_ft / cell.heard});
      cell.window = -1;
    }
    if (flight.gap && window - flight.gap->after.cells[0].window >= enough_windows) {
      fill(flight, *flight.gap);
      flight.gap.reset();
    }
    const double silent_s = static_cast<double>((window - flight.last_window) * schema::window_s);
    if (silent_s > rules_.flight_break_s ||
        (flight.is_superseded && flight.last_window <= window)) {
      end(flight);
    }
  }
  closed_ = window;
}

void FlightLog::end_all() {
  if (n_live_ > 0) {
    for (std::int64_t i = 0; i < n_open_windows; ++i) close_window(closed_ + 1);
  }
  for (OpenFlight& flight : flights_) {
    if (flight.is_live) end(flight);
  }
}

double FlightLog::expected_reports(std::int64_t window) const noexcept {
  double sum = 0;
  for (const OpenFlight& flight : flights_) {
    if (!flight.is_live) continue;
    const CellSum& last = flight.open[slot_of(window)];
    const double last_heard = last.window == window ? last.heard : 0;
    sum += std::min(most_expected_of_one,
                    (2 * static_cast<double>(flight.recent_heard) + last_heard) / 3);
  }
  return sum;
}

void FlightLog::set_trials(const TrialTable& trials) noexcept {
  for (OpenFlight& flight : flights_) {
    if (!flight.is_live) continue;
    bool is_known = false;
    for (const TrialSpan& span : trials.spans()) {
      if (span.trial != flight.row.trial) continue;
      flight.trial = is_known ? TrialSpan{flight.trial.from_s, span.to_s, span.trial} : span;
      is_known = true;
    }
  }
}

std::vector<FlightLog::Resumed> FlightLog::resume(std::span<const schema::Flight> open,
                                                  std::span<const schema::Cell> tail,
                                                  double until_s) {
  std::vector<const schema::Cell*> cells;
  for (const schema::Cell& cell : tail) {
    if (cell.heard > 0) cells.push_back(&cell);
  }
  std::ranges::sort(cells, [](const schema::Cell* a, const schema::Cell* b) {
    return std::pair(a->flight, a->window) < std::pair(b->flight, b->window);
  });
  std::vector<Resumed> resumed;
  is_muted_ = true;
  for (const schema::Flight& row : open) {
    ids_.skip(row.id);
    const auto flight_of = [](const schema::Cell* cell) { return cell->flight; };
    const std::span<const schema::Cell* const> of_flight(
        std::ranges::lower_bound(cells, row.id, {}, flight_of),
        std::ranges::upper_bound(cells, row.id, {}, flight_of));
    if (of_flight.empty() || n_live_ >= capacity) {
      schema::Flight ended = row;
      ended.last_window = of_flight.empty() ? row.first_window : of_flight.back()->window;
      rows_.push_back(ended);
      continue;
    }
    Aircraft aircraft;
    aircraft.address = static_cast<std::uint32_t>(row.address);
    const FlightRef ref = begin(aircraft, {}, row.first_window);
    OpenFlight& flight = flights_[static_cast<std::size_t>(ref.place)];
    flight.row = row;
    ids_.give_back();
    flight.is_changed = false;
    flight.trial = {-HUGE_VAL, HUGE_VAL, row.trial};
    flight.resumed_until_s = until_s;
    HeardCell last;
    for (const schema::Cell* cell : of_flight) {
      last = {cell->window,
              start_s(cell->window) + 0.5 * schema::window_s,
              {cell->latitude_deg, cell->longitude_deg},
              cell->altitude_ft};
      flight.last_window = cell->window;
      if (cell->window > closed_) {
        flight.open[slot_of(cell->window)].resume(*cell);
      } else {
        flight.recent_heard += (static_cast<float>(cell->heard) - flight.recent_heard) / 3;
        follow(flight, last);
      }
    }
    resumed.push_back({aircraft.address, {ref.place, row.id}, flight.last_window, last});
  }
  is_muted_ = false;
  return resumed;
}

void FlightLog::take(schema::Batch& batch) {
  for (OpenFlight& flight : flights_) {
    if (!flight.is_live) continue;
    if (flight.is_changed) rows_.push_back(flight.row);
    flight.is_changed = false;
    for (CellSum& cell : flight.open) {
      if (cell.window > closed_ && cell.heard > 0) give(flight, cell);
    }
  }
  batch.flights = std::move(rows_);
  batch.cells = std::move(cells_);
  rows_.clear();
  cells_.clear();
}

}  // namespace roundel::record
