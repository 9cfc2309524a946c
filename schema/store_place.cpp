// Cells follow their time: what trials that were changed in hindsight mean for what is stored.
#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <set>

#include "schema/store_impl.h"
#include "schema/summary_keeper.h"

namespace roundel::schema {
namespace {

/// Windows of one flight that belong to one trial.
struct Run {
  Id trial{};
  std::vector<std::int64_t> windows;
};

class Placer {
 public:
  static Result<Placer> make(const Database& database, Id next_flight) {
    auto trials = read_trials(database);
    ROUNDEL_TRY(trials);
    const auto before_hour = summarised_before_hour(database);
    ROUNDEL_TRY(before_hour);
    std::vector<Statement> made;
    for (const char* sql :
         {"SELECT 1 FROM cell WHERE id = ?1 UNION ALL SELECT 1 FROM recent_cell WHERE id = ?1",
          "UPDATE cell SET id = ? WHERE id = ?", "UPDATE recent_cell SET id = ? WHERE id = ?",
          "UPDATE flight SET trial = ?, first_window = ?, last_window = ? WHERE id = ?",
          "INSERT INTO flight (id, trial, address, first_window, last_window)"
          " VALUES (?, ?, ?, ?, ?)",
          // Where an hour's cells are gone, its summary is all there is.
          "INSERT INTO summary (id, cells, silent_cells, heard, expected, is_stale, cells_gone,"
          " detail) SELECT ?1, 0, 0, 0, 0, 1, 0, x'' WHERE NOT EXISTS"
          " (SELECT 1 FROM summary WHERE id >= ?2 AND id < ?3 AND cells_gone = 1)"
          " ON CONFLICT (id) DO UPDATE SET is_stale = 1"}) {
      auto statement = database.prepare(sql);
      ROUNDEL_TRY(statement);
      made.push_back(std::move(*statement));
    }
    return Placer(std::move(*trials), *before_hour, next_flight, std::move(made));
  }

  Result<void> place(const Flight& flight) {
    const Trial* own = find(flight.trial);
    if (!own) return {};
    std::vector<const Trial*> known;  // by start, the flight's own first
    known.push_back(own);
    for (const Trial& trial : trials_)
      if (trial.feed == own->feed && trial.id != own->id && overlaps(trial, flight))
        known.push_back(&trial);
    if (known.size() == 1) return {};
    std::vector<Run> runs;
    for (std::int64_t window = flight.first_window; window <= *flight.last_window; ++window) {
      has_cell_.bind(1, cell_key(window, flight.id));
      const auto row = has_cell_.next();
      ROUNDEL_TRY(row);
      has_cell_.reset();
      if (!*row) continue;
      const auto home = std::ranges::find_if(known, [&](const Trial* trial) {
        const WindowRange range = windows_of(*trial);
        return range.from <= window && window < range.to;
      });
      const Id trial = home == known.end() ? own->id : (*home)->id;
      if (runs.empty() || runs.back().trial != trial) runs.push_back({trial, {}});
      runs.back().windows.push_back(window);
    }
    if (runs.empty()) return place_whole(flight, known);
    for (std::size_t i = 0; i < runs.size(); ++i) ROUNDEL_TRY(put(flight, runs[i], i == 0));
    return {};
  }

  Result<void> mark_stale() {
    for (const std::int64_t key : touched_) {
      const std::int64_t hour = hour_of_key(key);
      if (hour < before_hour_)
        ROUNDEL_TRY(stale_.run(key, summary_key(hour, 0), summary_key(hour + 1, 0)));
    }
    return {};
  }
  const Placed& placed() const { return placed_; }

 private:
  Placer(std::vector<Trial> trials, std::int64_t before_hour, Id next_flight,
         std::vector<Statement> made)
      : trials_(std::move(trials)),
        before_hour_(before_hour),
        placed_{0, next_flight},
        has_cell_(std::move(made[0])),
        move_cell_(std::move(made[1])),
        move_recent_(std::move(made[2])),
        change_(std::move(made[3])),
        insert_(std::move(made[4])),
        stale_(std::move(made[5])) {}

  const Trial* find(Id id) const {
    const auto found = std::ranges::find(trials_, id, &Trial::id);
    return found == trials_.end() ? nullptr : &*found;
  }
  static bool overlaps(const Trial& trial, const Flight& flight) {
    const WindowRange range = windows_of(trial);
    return range.from <= *flight.last_window && flight.first_window < range.to;
  }

  // Its cells are gone: it goes to a trial that it lies in from end to end.
  Result<void> place_whole(const Flight& flight, const std::vector<const Trial*>& known) {
    for (const Trial* trial : known) {
      const WindowRange range = windows_of(*trial);
      if (range.from <= flight.first_window && *flight.last_window < range.to)
        return change_.run(trial->id, flight.first_window, *flight.last_window, flight.id);
    }
    return {};
  }

  // The flight's first run keeps its number, others get one of their own.
  Result<void> put(const Flight& flight, const Run& run, bool is_first) {
    for (const std::int64_t window : run.windows)
      for (const Id trial : {flight.trial, run.trial})
        touched_.insert(summary_key(window / windows_per_hour, trial));
    if (run.trial != flight.trial) placed_.cells += std::ssize(run.windows);
    if (is_first) return change_.run(run.trial, run.windows.front(), run.windows.back(), flight.id);
    if (placed_.next_flight > max_flight_id)
      return fail(Errc::out_of_range, "no more flights can be numbered");
    const Id id = placed_.next_flight++;
    ROUNDEL_TRY(insert_.run(id, run.trial, static_cast<std::int64_t>(flight.address),
                            run.windows.front(), run.windows.back()));
    for (const std::int64_t window : run.windows) {
      ROUNDEL_TRY(move_cell_.run(cell_key(window, id), cell_key(window, flight.id)));
      ROUNDEL_TRY(move_recent_.run(cell_key(window, id), cell_key(window, flight.id)));
    }
    return {};
  }

  std::vector<Trial> trials_;
  std::int64_t before_hour_;
  Placed placed_;
  Statement has_cell_, move_cell_, move_recent_, change_, insert_, stale_;
  std::set<std::int64_t> touched_;
};

// Ended flights that reach beyond the trial they are of.
Result<std::vector<Flight>> astray(const Database& database) {
  auto query = database.prepare(
      fmt::format("SELECT flight.id, trial, address, first_window, last_window FROM flight"
                  " JOIN trial ON trial.id = flight.trial WHERE last_window IS NOT NULL"
                  " AND ((first_window + 1) * {0} <= start_s OR last_window * {0} >= stop_s)"
                  " ORDER BY flight.id",
                  window_s));
  ROUNDEL_TRY(query);
  std::vector<Flight> flights;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return flights;
    flights.push_back({query->integer(0), query->integer(1),
                       static_cast<std::uint64_t>(query->integer(2)), query->integer(3),
                       query->integer(4)});
  }
}

// A summary that is all there is left of an hour, and the key it should have.
struct Moved {
  std::int64_t from{}, to{};
};

// Those of hours that lie outside their trial and wholly within another. An hour in which trials
// change cannot be divided: it stays.
Result<std::vector<Moved>> summaries_astray(const Database& database) {
  auto query = database.prepare(
      "SELECT summary.id, home.id FROM summary JOIN trial ON trial.id = summary.trial"
      " JOIN trial AS home ON home.feed = trial.feed AND home.id <> trial.id"
      " WHERE cells_gone = 1 AND (hour_s + 3600 <= trial.start_s OR hour_s >= trial.stop_s)"
      " AND home.start_s <= hour_s AND (home.stop_s IS NULL OR home.stop_s >= hour_s + 3600)"
      " AND NOT EXISTS (SELECT 1 FROM summary AS other"
      " WHERE other.id = summary.id - trial.id + home.id)");
  ROUNDEL_TRY(query);
  std::vector<Moved> moved;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return moved;
    const std::int64_t key = query->integer(0);
    moved.push_back({key, summary_key(hour_of_key(key), query->integer(1))});
  }
}

Result<void> move_summaries(const Database& database, const std::vector<Moved>& summaries) {
  for (const char* sql : {"UPDATE summary SET id = ? WHERE id = ?",
                          "UPDATE summary_flights SET id = ? WHERE id = ?"}) {
    auto move = database.prepare(sql);
    ROUNDEL_TRY(move);
    for (const Moved& one : summaries) ROUNDEL_TRY(move->run(one.to, one.from));
  }
  return {};
}

}  // namespace

Result<Placed> Store::place_cells(Id next_flight) {
  assert(impl_->access == Access::record && !impl_->appending);
  const Database& database = impl_->database;
  // Most times there is nothing to do: others need not wait for that.
  auto flights = astray(database);
  ROUNDEL_TRY(flights);
  auto summaries = summaries_astray(database);
  ROUNDEL_TRY(summaries);
  if (flights->empty() && summaries->empty()) return Placed{0, next_flight};
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  flights = astray(database);
  ROUNDEL_TRY(flights);
  summaries = summaries_astray(database);
  ROUNDEL_TRY(summaries);
  ROUNDEL_TRY(move_summaries(database, *summaries));
  auto placer = Placer::make(database, next_flight);
  ROUNDEL_TRY(placer);
  for (const Flight& flight : *flights) ROUNDEL_TRY(placer->place(flight));
  ROUNDEL_TRY(placer->mark_stale());
  ROUNDEL_TRY(transaction->commit());
  return placer->placed();
}

}  // namespace roundel::schema
