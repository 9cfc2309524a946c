// What the recorder writes.
#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <chrono>
#include <filesystem>
#include <system_error>
#include <utility>

#include "schema/store_impl.h"
#include "schema/summary_keeper.h"

namespace roundel::schema {
namespace {

// A live recorder completes an hour in an hour, a load one in a commit: with two, what an older
// version or another method has left is caught up with as it goes.
constexpr int summaries_per_commit = 2;

// Cells come late: a silent one up to 30 min (180 windows) after its window, once its aircraft has
// come back; a report up to 30 s. Written straight into the big table such rows would split pages
// that are already full (measured: 34 bytes a cell instead of 31). So windows younger than this
// wait in recent_cell, and move over in order, at the table's end only.
constexpr std::int64_t recent_windows = 190;
// They move six minutes at a time: fewer pages written than window by window.
constexpr std::int64_t settle_step = 36;

Result<CellInsert> prepare_cells(const Database& database, std::string_view table) {
  const auto sql = [&](int rows) {
    std::string text = fmt::format(
        "INSERT OR REPLACE INTO {} (id, heard, expected, latitude_e4, longitude_e4,"
        " altitude_25ft, signal_half_db, uncertainty_hm) VALUES ",
        table);
    for (int row = 0; row < rows; ++row)
      text += row == 0 ? "(?,?,?,?,?,?,?,?)" : ",(?,?,?,?,?,?,?,?)";
    return text;
  };
  auto one = database.prepare(sql(1));
  ROUNDEL_TRY(one);
  auto many = database.prepare(sql(CellInsert::rows));
  ROUNDEL_TRY(many);
  return CellInsert{std::move(*one), std::move(*many)};
}

Result<RecordStatements> prepare(const Database& database) {
  auto flight = database.prepare(
      "INSERT INTO flight (id, trial, address, first_window, last_window) VALUES (?, ?, ?, ?, ?)"
      " ON CONFLICT (id) DO UPDATE SET first_window = excluded.first_window,"
      " last_window = excluded.last_window");
  ROUNDEL_TRY(flight);
  auto cell = prepare_cells(database, "cell");
  ROUNDEL_TRY(cell);
  auto recent_cell = prepare_cells(database, "recent_cell");
  ROUNDEL_TRY(recent_cell);
  auto tally = database.prepare(tally_sql);
  ROUNDEL_TRY(tally);
  auto coverage = database.prepare(
      "INSERT INTO coverage (feed, from_s, to_s) VALUES (?, ?, ?)"
      " ON CONFLICT (feed, from_s) DO UPDATE SET to_s = excluded.to_s");
  ROUNDEL_TRY(coverage);
  auto clock = database.prepare(
      "INSERT INTO feed_clock (feed, feed_time_s, arrival_s) VALUES (?, ?, ?)"
      " ON CONFLICT (feed) DO UPDATE SET feed_time_s = excluded.feed_time_s,"
      " arrival_s = excluded.arrival_s");
  ROUNDEL_TRY(clock);
  auto settle_copy = database.prepare(
      "INSERT INTO cell (id, heard, expected, latitude_e4, longitude_e4, altitude_25ft,"
      " signal_half_db, uncertainty_hm) SELECT id, heard, expected, latitude_e4, longitude_e4,"
      " altitude_25ft, signal_half_db, uncertainty_hm FROM recent_cell WHERE id < ? ORDER BY id");
  ROUNDEL_TRY(settle_copy);
  auto settle_delete = database.prepare("DELETE FROM recent_cell WHERE id < ?");
  ROUNDEL_TRY(settle_delete);
  auto settle_mark = database.prepare("UPDATE settled SET before_window = ?");
  ROUNDEL_TRY(settle_mark);
  auto before_window = database.prepare("SELECT before_window FROM settled");
  ROUNDEL_TRY(before_window);
  auto newest_recent = database.prepare("SELECT max(id) FROM recent_cell");
  ROUNDEL_TRY(newest_recent);
  return RecordStatements{
      std::move(*cell),          std::move(*recent_cell),   std::move(*flight),
      std::move(*tally),         std::move(*coverage),      std::move(*clock),
      std::move(*settle_copy),   std::move(*settle_delete), std::move(*settle_mark),
      std::move(*before_window), std::move(*newest_recent)};
}

using RowIterator = std::vector<PackedCell>::const_iterator;

int bind_cell(Statement& insert, int index, const PackedCell& cell) {
  insert.bind(++index, cell.key);
  insert.bind(++index, std::int64_t{cell.heard});
  insert.bind(++index, std::int64_t{cell.expected});
  insert.bind(++index, std::int64_t{cell.latitude_e4});
  insert.bind(++index, std::int64_t{cell.longitude_e4});
  insert.bind(++index, std::int64_t{cell.altitude_25ft});
  if (cell.signal_half_db != no_signal)
    insert.bind(++index, std::int64_t{cell.signal_half_db});
  else
    insert.bind(++index, std::nullopt);
  insert.bind(++index, std::int64_t{cell.uncertainty_hm});
  return index;
}

}  // namespace

Result<void> Store::Impl::refuse(const PackedCell& cell, Id feed, const Error& why) {
  return refusals.add_cell(database, window_of_key(cell.key), flight_of_key(cell.key), cell.heard,
                           feed, why.what);
}

Result<void> Store::Impl::put(CellInsert& into, RowIterator first, RowIterator last, Id feed) {
  bool is_one_by_one = false;
  while (first != last) {
    const bool many = !is_one_by_one && last - first >= CellInsert::rows;
    Statement& insert = many ? into.many : into.one;
    const auto end = first + (many ? CellInsert::rows : 1);
    int index = 0;
    for (auto row = first; row != end; ++row) index = bind_cell(insert, index, *row);
    if (const auto done = insert.run(); !done) {
      if (done.error().code != Errc::out_of_range) return done;
      // One row is refused, and with it all of its statement.
      is_one_by_one = true;
      if (many) continue;
      ROUNDEL_TRY(refuse(*first, feed, done.error()));
    }
    first = end;
  }
  return {};
}

// Writes the cells so that `cell` is only appended to, unless a cell is older than settled.
//
// What is older than the mark goes into `cell`. What falls among the waiting cells joins them;
// those then settle up to the new mark; the rest, all newer, goes to whichever side of the mark it
// belongs. A load of many hours at once thus writes nearly every cell only once. What would wait in
// recent_cell is held where the transaction goes on.
Result<void> Store::Impl::put_cells(const std::vector<PackedCell>& cells, Id feed, bool ends) {
  RecordStatements& statements = *record;
  std::vector<PackedCell> rows;
  {
    const std::vector<PackedCell> before = std::exchange(held, {});
    rows.reserve(before.size() + cells.size());
    std::merge(before.begin(), before.end(), cells.begin(), cells.end(), std::back_inserter(rows),
               by_key);  // of two with one key the one from before comes first
  }
  keep_latest(rows);
  if (rows.empty()) return {};
  const auto mark = statements.before_window.single();
  ROUNDEL_TRY(mark);
  const auto newest_waiting = statements.newest_recent.single();
  ROUNDEL_TRY(newest_waiting);
  const std::int64_t newest_window = window_of_key(rows.back().key);
  const std::int64_t new_mark =
      std::max(*mark, (newest_window - recent_windows) / settle_step * settle_step);

  const auto before = [&](std::int64_t key) {
    return std::partition_point(rows.cbegin(), rows.cend(),
                                [&](const PackedCell& row) { return row.key < key; });
  };
  const auto waiting = before(cell_key(*mark, 0));
  const auto beyond = std::max(waiting, before(*newest_waiting + 1));
  const auto young = std::max(beyond, before(cell_key(new_mark, 0)));
  ROUNDEL_TRY(put(statements.cell, rows.cbegin(), waiting, feed));
  ROUNDEL_TRY(put(statements.recent_cell, waiting, beyond, feed));
  if (new_mark > *mark) {
    ROUNDEL_TRY(statements.settle_copy.run(cell_key(new_mark, 0)));
    ROUNDEL_TRY(statements.settle_delete.run(cell_key(new_mark, 0)));
    ROUNDEL_TRY(statements.settle_mark.run(new_mark));
  }
  ROUNDEL_TRY(put(statements.cell, beyond, young, feed));
  if (ends) {
    ROUNDEL_TRY(put(statements.recent_cell, young, rows.cend(), feed));
  } else {
    rows.erase(rows.cbegin(), young);
    held = std::move(rows);
  }
  return {};
}

Result<Id> Store::next_flight_id() const {
  return impl_->database.integer("SELECT coalesce(max(id), 0) + 1 FROM flight");
}

Result<void> Store::commit(const Batch& batch) { return impl_->write(batch, true); }

Result<void> Store::append(const Batch& batch) { return impl_->write(batch, false); }

std::size_t Store::n_kept() const {
  std::size_t n = impl_->held.size();
  for (const Impl::Rows& rows : impl_->appended) n += rows.cells.size();
  return n;
}

const Refused& Store::refused() const { return impl_->committed_refusals.total(); }

Result<void> Store::Impl::write(const Batch& batch, bool ends) {
  assert(access == Access::record);
  if (batch.empty() && !(ends && !appended.empty())) return {};
  Rows rows{.rest = {.feed = batch.feed,
                     .flights = batch.flights,
                     .cells = {},
                     .hour_s = batch.hour_s,
                     .tally = batch.tally,
                     .earlier = batch.earlier,
                     .coverage = batch.coverage,
                     .clock = batch.clock},
            .cells = {}};
  rows.cells = packed(batch.cells, rows.rest.cells);
  auto done = begin();
  if (done) done = write_rows(rows, ends);
  if (done && ends) done = appending->commit();
  if (!done || ends) {
    appending.reset();  // undone, unless committed
    held.clear();
  }
  if (!done) refusals = committed_refusals;
  if (done && ends) {
    committed_refusals = refusals;
    appended.clear();
    bound_log();
  }
  if (done && !ends) appended.push_back(std::move(rows));
  return done;
}

// The log begins anew only when nobody reads from it, which never comes while readers overlap. The
// further it has grown, the longer the recorder waits for those of older states to end.
void Store::Impl::bound_log() {
  std::error_code unknown;
  const auto size = std::filesystem::file_size(database.file() + "-wal", unknown);
  if (unknown || size <= most_log_bytes) return;
  constexpr std::uintmax_t bytes_per_ms = 100'000, most_ms = 10'000;
  const auto wait_ms = std::min((size - most_log_bytes) / bytes_per_ms, most_ms);
  static_cast<void>(database.empty_log(std::chrono::milliseconds(wait_ms)));
}

// The transaction that append() goes on with, with all that has been appended in it.
Result<void> Store::Impl::begin() {
  if (appending) return {};
  if (!record) {
    auto statements = prepare(database);
    ROUNDEL_TRY(statements);
    record.emplace(std::move(*statements));
  }
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  appending.emplace(std::move(*transaction));
  const auto newest = database.integer(
      "SELECT max((SELECT coalesce(max(id), 0) FROM cell),"
      " (SELECT coalesce(max(id), 0) FROM recent_cell))");
  ROUNDEL_TRY(newest);
  newest_before = *newest;
  for (const Rows& rows : appended) ROUNDEL_TRY(write_rows(rows, false));
  return {};
}

// What a load has just written need not be read again to summarise it. None where the hour has, or
// had, other cells.
std::optional<std::vector<PackedCell>> Store::Impl::cells_of_hour(std::int64_t hour,
                                                                  const Rows& latest) const {
  const std::int64_t from = first_cell_key(hour), to = first_cell_key(hour + 1);
  if (from <= newest_before || refusals.total().rows > committed_refusals.total().rows)
    return std::nullopt;
  std::vector<PackedCell> found;
  const auto add = [&](const Rows& rows) {
    const auto before = [&](std::int64_t key) {
      return std::partition_point(rows.cells.begin(), rows.cells.end(),
                                  [&](const PackedCell& cell) { return cell.key < key; });
    };
    found.insert(found.end(), before(from), before(to));
  };
  for (const Rows& rows : appended) add(rows);
  add(latest);
  order(found);
  return found;
}

Result<void> Store::Impl::write_flights(const Batch& batch) {
  for (const Flight& flight : batch.flights) {
    const auto done =
        record->flight.run(flight.id, flight.trial, static_cast<std::int64_t>(flight.address),
                           flight.first_window, flight.last_window);
    if (done)
      refusals.flight_is_stored(flight.id);
    else if (done.error().code == Errc::out_of_range)
      ROUNDEL_TRY(refusals.add_flight(database, flight.id, done.error().what));
    else
      return done;
  }
  return {};
}

Result<void> Store::Impl::write_cells(const Rows& rows, bool ends) {
  const Id feed = rows.rest.feed;
  for (const Cell& cell : rows.rest.cells)
    ROUNDEL_TRY(refusals.add_cell(database, cell.window, cell.flight, cell.heard, feed,
                                  "a value is outside what the table accepts, in a cell"));
  if (!refusals.has_flights()) return put_cells(rows.cells, feed, ends);
  std::vector<PackedCell> cells;
  for (const PackedCell& cell : rows.cells) {
    if (refusals.has_flight(flight_of_key(cell.key)))
      ROUNDEL_TRY(refuse(cell, feed, Error{Errc::out_of_range, "its flight was refused", {}, {}}));
    else
      cells.push_back(cell);
  }
  return put_cells(cells, feed, ends);
}

Result<void> Store::Impl::write_rows(const Rows& rows, bool ends) {
  const Batch& batch = rows.rest;
  // What is written to a file without a name is lost when it is closed.
  if (database.has_moved())
    return fail(Errc::not_found, "the database was moved or deleted while it was recorded into",
                database.file(), "start again, with the file at its place or a new one");
  const auto keeping = summaries();
  ROUNDEL_TRY(keeping);
  ROUNDEL_TRY((*keeping)->touch(batch.flights, rows.cells));
  ROUNDEL_TRY(write_flights(batch));
  ROUNDEL_TRY(write_cells(rows, ends));
  for (const auto& [kind, count] : batch.tally)
    ROUNDEL_TRY(record->tally.run(batch.feed, batch.hour_s, std::string_view(kind), count));
  for (const auto& [hour_s, tally] : batch.earlier) {
    for (const auto& [kind, count] : tally)
      ROUNDEL_TRY(record->tally.run(batch.feed, hour_s, std::string_view(kind), count));
  }
  for (const Coverage& coverage : batch.coverage)
    ROUNDEL_TRY(record->coverage.run(coverage.feed, coverage.from_s, coverage.to_s));
  if (batch.clock)
    ROUNDEL_TRY(record->clock.run(batch.feed, batch.clock->feed_time_s, batch.clock->arrival_s));
  if (summariser)
    ROUNDEL_TRY((*keeping)->advance(*summariser, summaries_per_commit,
                                    [&](std::int64_t hour) { return cells_of_hour(hour, rows); }));
  return {};
}

Result<std::vector<Flight>> Store::open_flights(Id feed) const {
  auto query = impl_->database.prepare(
      "SELECT flight.id, flight.trial, flight.address, flight.first_window FROM flight"
      " JOIN trial ON trial.id = flight.trial"
      " WHERE flight.last_window IS NULL AND trial.feed = ? ORDER BY flight.id");
  ROUNDEL_TRY(query);
  query->bind(1, feed);
  std::vector<Flight> flights;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return flights;
    flights.push_back({query->integer(0), query->integer(1),
                       static_cast<std::uint64_t>(query->integer(2)), query->integer(3),
                       std::nullopt});
  }
}

Result<std::vector<Coverage>> Store::coverage(Id feed) const {
  auto query = impl_->database.prepare(
      "SELECT feed, from_s, to_s FROM coverage WHERE feed = ? ORDER BY from_s");
  ROUNDEL_TRY(query);
  query->bind(1, feed);
  std::vector<Coverage> rows;
  for (;;) {
    const auto row = query->next();
    ROUNDEL_TRY(row);
    if (!*row) return rows;
    rows.push_back({query->integer(0), query->integer(1), query->integer(2)});
  }
}

Result<std::optional<FeedClock>> Store::clock(Id feed) const {
  auto query =
      impl_->database.prepare("SELECT feed_time_s, arrival_s FROM feed_clock WHERE feed = ?");
  ROUNDEL_TRY(query);
  query->bind(1, feed);
  const auto row = query->next();
  ROUNDEL_TRY(row);
  if (!*row) return std::nullopt;
  return FeedClock{query->real(0), query->real(1)};
}

}  // namespace roundel::schema
