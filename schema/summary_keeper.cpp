#include "schema/summary_keeper.h"

#include <algorithm>
#include <unordered_map>

namespace roundel::schema {
namespace {

std::int64_t hour_of(std::int64_t window) { return window / windows_per_hour; }

}  // namespace

Result<std::int64_t> summarised_before_hour(const Database& database) {
  return database.integer("SELECT before_hour FROM summarised");
}

// --- Reading an hour -----------------------------------------------------------------------------

Result<HourReader> HourReader::make(const Database& database) {
  auto cells = database.prepare(
      "SELECT id, heard, expected, latitude_e4, longitude_e4, altitude_25ft, signal_half_db,"
      " uncertainty_hm FROM cell WHERE id >= ? AND id < ? ORDER BY id");
  ROUNDEL_TRY(cells);
  auto flight =
      database.prepare("SELECT trial, address, first_window, last_window FROM flight WHERE id = ?");
  ROUNDEL_TRY(flight);
  auto first = database.prepare("SELECT min(id) FROM cell WHERE id >= ?");
  ROUNDEL_TRY(first);
  return HourReader(std::move(*cells), std::move(*flight), std::move(*first));
}

Result<std::optional<Flight>> HourReader::flight(Id id) {
  flight_.bind(1, id);
  const auto row = flight_.next();
  ROUNDEL_TRY(row);
  std::optional<Flight> found;
  if (*row)
    found = Flight{id, flight_.integer(0), static_cast<std::uint64_t>(flight_.integer(1)),
                   flight_.integer(2), flight_.optional_integer(3)};
  flight_.reset();
  return found;
}

struct HourReader::Reading {
  std::unordered_map<Id, std::optional<Flight>> flights;
  std::map<Id, Summary> out;
};

Result<void> HourReader::add(const Cell& cell, Summariser& by, Reading& reading) {
  auto known = reading.flights.find(cell.flight);
  if (known == reading.flights.end()) {
    auto looked_up = flight(cell.flight);
    ROUNDEL_TRY(looked_up);
    known = reading.flights.emplace(cell.flight, *looked_up).first;
  }
  if (!known->second) return {};
  Summary& summary = reading.out[known->second->trial];
  ++summary.cells;
  summary.silent_cells += cell.heard == 0;
  summary.heard += cell.heard;
  summary.expected += cell.expected;
  by.add(cell, *known->second);
  return {};
}

Result<std::map<Id, Summary>> HourReader::read(std::int64_t hour, Summariser& by,
                                               const CellsInMemory& in_memory) {
  Reading reading;
  if (const auto known = in_memory ? in_memory(hour) : std::nullopt) {
    for (const PackedCell& packed : *known) ROUNDEL_TRY(add(cell_of(packed), by, reading));
  } else {
    cells_.reset();
    cells_.bind_all(first_cell_key(hour), first_cell_key(hour + 1));
    std::int64_t before = first_cell_key(hour) - 1;
    for (;;) {
      const auto row = cells_.next();
      ROUNDEL_TRY(row);
      if (!*row) break;
      // In a forged file pages may refer to one another without end.
      if (cells_.integer(0) <= before)
        return fail(Errc::corrupt, "cells do not stand in order", "", "restore a copy");
      before = cells_.integer(0);
      ROUNDEL_TRY(add(cell_in(cells_), by, reading));
    }
    cells_.reset();
  }
  for (auto& [trial, detail] : by.finish()) reading.out[trial].detail = std::move(detail);
  for (auto& [trial, summary] : reading.out) {
    summary.trial = trial;
    summary.hour_s = hour * 3600;
  }
  return std::move(reading.out);
}

Result<std::optional<std::int64_t>> HourReader::next_hour(std::int64_t from_hour) {
  first_.bind(1, first_cell_key(from_hour));
  const auto row = first_.next();
  ROUNDEL_TRY(row);
  std::optional<std::int64_t> hour;
  if (*row && !first_.is_null(0)) hour = hour_of(first_.integer(0) >> flight_bits);
  first_.reset();
  return hour;
}

// --- Keeping -------------------------------------------------------------------------------------

Result<SummaryKeeper> SummaryKeeper::make(const Database& database) {
  auto reader = HourReader::make(database);
  ROUNDEL_TRY(reader);
  std::vector<Statement> made;
  for (const char* sql :
       {"SELECT before_hour FROM summarised", "UPDATE summarised SET before_hour = ?",
        "SELECT before_window FROM settled",
        "SELECT trial, first_window, last_window FROM flight WHERE id = ?",
        "SELECT id FROM summary WHERE is_stale = 1 ORDER BY id",
        "INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
        " detail) VALUES (?, 0, 0, 0, 0, 1, 0, x'') ON CONFLICT (id) DO UPDATE SET is_stale = 1",
        "UPDATE summary SET is_stale = 1 WHERE cells_gone = 0 AND is_stale = 0",
        "SELECT summary.id, cells, silent_cells, heard, expected, summary.detail,"
        " summary_flights.detail FROM summary"
        " LEFT JOIN summary_flights ON summary_flights.id = summary.id"
        " WHERE summary.id >= ? AND summary.id < ? AND cells_gone = 1",
        "INSERT OR REPLACE INTO summary (id, cells, silent_cells, heard, expected, is_stale,"
        " cells_gone, detail) VALUES (?, ?, ?, ?, ?, 0, ?, ?)",
        "INSERT INTO summary_flights (id, detail) VALUES (?, ?)",
        "DELETE FROM summary WHERE id >= ? AND id < ? AND cells_gone = 0",
        "DELETE FROM summary_flights WHERE id >= ? AND id < ?", "DELETE FROM cell WHERE id = ?",
        "SELECT cell.id FROM cell JOIN flight ON flight.id = cell.flight"
        " WHERE cell.id >= ? AND cell.id < ? AND flight.trial = ? ORDER BY cell.id"}) {
    auto statement = database.prepare(sql);
    ROUNDEL_TRY(statement);
    made.push_back(std::move(*statement));
  }
  auto next = made.begin();
  const auto take = [&] { return std::move(*next++); };
  return SummaryKeeper(std::move(*reader),
                       Statements{take(), take(), take(), take(), take(), take(), take(), take(),
                                  take(), take(), take(), take(), take(), take()});
}

Result<void> SummaryKeeper::touch_flight(const Flight& flight, std::int64_t before_hour,
                                         std::set<std::int64_t>& keys) {
  Statement& stored = statements_.flight;
  stored.bind(1, flight.id);
  const auto row = stored.next();
  ROUNDEL_TRY(row);
  // Whether a cell is its flight's first or last decides what it tells: both the old ends count
  // and the new ones.
  std::set<std::int64_t> ends;
  const auto change = [&](std::optional<std::int64_t> before, std::optional<std::int64_t> now) {
    if (before == now) return;
    if (before) ends.insert(*before);
    if (now) ends.insert(*now);
  };
  change(*row ? stored.optional_integer(1) : std::nullopt, flight.first_window);
  change(*row ? stored.optional_integer(2) : std::nullopt, flight.last_window);
  stored.reset();
  for (const std::int64_t window : ends)
    if (window >= 0 && hour_of(window) < before_hour)
      keys.insert(summary_key(hour_of(window), flight.trial));
  return {};
}

Result<void> SummaryKeeper::touch_cells(const std::vector<Flight>& flights,
                                        const std::vector<PackedCell>& cells,
                                        std::int64_t before_hour, std::set<std::int64_t>& keys) {
  std::unordered_map<Id, Id> trial_of;
  for (const Flight& flight : flights) trial_of[flight.id] = flight.trial;
  for (const PackedCell& cell : cells) {
    const std::int64_t hour = hour_of(window_of_key(cell.key));
    if (hour >= before_hour) break;
    const Id flight = flight_of_key(cell.key);
    auto trial = trial_of.find(flight);
    if (trial == trial_of.end()) {
      statements_.flight.bind(1, flight);
      const auto row = statements_.flight.next();
      ROUNDEL_TRY(row);
      trial = trial_of.emplace(flight, *row ? statements_.flight.integer(0) : 0).first;
      statements_.flight.reset();
    }
    if (trial->second > 0) keys.insert(summary_key(hour, trial->second));
  }
  return {};
}

Result<void> SummaryKeeper::touch(const std::vector<Flight>& flights,
                                  const std::vector<PackedCell>& cells) {
  touched_hours_.clear();
  const auto before_hour = statements_.before_hour.single();
  ROUNDEL_TRY(before_hour);
  std::set<std::int64_t> keys;
  for (const Flight& flight : flights) ROUNDEL_TRY(touch_flight(flight, *before_hour, keys));
  ROUNDEL_TRY(touch_cells(flights, cells, *before_hour, keys));
  for (const std::int64_t key : keys) {
    ROUNDEL_TRY(statements_.mark_stale.run(key));
    touched_hours_.insert(hour_of_key(key));
  }
  return {};
}

Result<std::optional<std::int64_t>> SummaryKeeper::next_stale() {
  std::optional<std::int64_t> hour;
  for (;;) {
    const auto row = statements_.stale.next();
    ROUNDEL_TRY(row);
    if (!*row) break;
    hour = hour_of_key(statements_.stale.integer(0));
    if (!touched_hours_.contains(*hour)) break;
    hour.reset();
  }
  statements_.stale.reset();
  return hour;
}

Result<bool> SummaryKeeper::advance(Summariser& by, int n_hours, const CellsInMemory& in_memory) {
  for (; n_hours > 0; --n_hours) {
    const auto hour = next_stale();
    ROUNDEL_TRY(hour);
    if (!*hour) break;
    ROUNDEL_TRY(summarise(**hour, by, in_memory));
  }
  const auto before_hour = statements_.before_hour.single();
  ROUNDEL_TRY(before_hour);
  const auto settled = statements_.before_window.single();
  ROUNDEL_TRY(settled);
  const std::int64_t settled_hour = hour_of(*settled);  // the first that is not complete
  // Most commits settle nothing that matters here.
  if (*before_hour >= settled_hour) return n_hours == 0;
  std::int64_t done = *before_hour;
  bool has_more = true;
  for (; n_hours > 0 && has_more; --n_hours) {
    const auto next = reader_.next_hour(done);
    ROUNDEL_TRY(next);
    has_more = *next && **next < settled_hour;
    if (has_more) ROUNDEL_TRY(summarise(**next, by, in_memory));
    done = has_more ? **next + 1 : settled_hour;
  }
  if (done > *before_hour) ROUNDEL_TRY(statements_.set_before_hour.run(done));
  return has_more;
}

Result<void> SummaryKeeper::mark_all_stale() { return statements_.mark_all_stale.run(); }

Result<void> SummaryKeeper::summarise(std::int64_t hour, Summariser& by,
                                      const CellsInMemory& in_memory) {
  const std::int64_t from = summary_key(hour, 0), to = summary_key(hour + 1, 0);
  ROUNDEL_TRY(statements_.remove.run(from, to));

  std::vector<Summary> gone;
  statements_.kept.bind_all(from, to);
  for (;;) {
    Statement& row = statements_.kept;
    const auto next = row.next();
    ROUNDEL_TRY(next);
    if (!*next) break;
    gone.push_back({hour * 3600,
                    trial_of_key(row.integer(0)),
                    row.integer(1),
                    row.integer(2),
                    row.integer(3),
                    row.integer(4),
                    true,
                    {row.blob(5), row.blob(6)}});
  }
  statements_.kept.reset();
  ROUNDEL_TRY(statements_.remove_flights.run(from, to));
  // Where cells go as soon as they are summarised, memory knows too much.
  auto now = reader_.read(hour, by, gone.empty() ? in_memory : CellsInMemory{});
  ROUNDEL_TRY(now);
  for (Summary& kept : gone) {
    // What came for an hour whose cells are gone is added to what is known of it, and goes too.
    if (const auto late = now->find(kept.trial); late != now->end()) {
      kept.cells += late->second.cells;
      kept.silent_cells += late->second.silent_cells;
      kept.heard += late->second.heard;
      kept.expected += late->second.expected;
      kept.detail = by.merged(kept.detail, late->second.detail);
      ROUNDEL_TRY(remove_cells(hour, kept.trial));
    }
    (*now)[kept.trial] = std::move(kept);
  }
  for (const auto& [trial, summary] : *now) {
    Statement& put = statements_.put;
    put.bind_all(summary_key(hour, trial), summary.cells, summary.silent_cells, summary.heard,
                 summary.expected, std::int64_t{summary.cells_gone});
    put.bind_blob(7, summary.detail.places);
    ROUNDEL_TRY(put.next());
    put.reset();
    Statement& put_flights = statements_.put_flights;
    put_flights.bind(1, summary_key(hour, trial));
    put_flights.bind_blob(2, summary.detail.flights);
    ROUNDEL_TRY(put_flights.next());
    put_flights.reset();
  }
  return {};
}

Result<void> SummaryKeeper::remove_cells(std::int64_t hour, Id trial) {
  std::vector<std::int64_t> keys;
  statements_.cell_keys.bind_all(first_cell_key(hour), first_cell_key(hour + 1), trial);
  for (;;) {
    const auto row = statements_.cell_keys.next();
    ROUNDEL_TRY(row);
    if (!*row) break;
    keys.push_back(statements_.cell_keys.integer(0));
  }
  statements_.cell_keys.reset();
  for (const std::int64_t key : keys) ROUNDEL_TRY(statements_.remove_cell.run(key));
  return {};
}

}  // namespace roundel::schema
