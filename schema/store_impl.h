// What the store_*.cpp files share. Private to schema/.
#pragma once
#include <algorithm>
#include <optional>
#include <string_view>
#include <vector>

#include "roundel/schema/store.h"
#include "schema/packed_cell.h"
#include "schema/recorder_lock.h"
#include "schema/refusals.h"
#include "schema/sqlite.h"

namespace roundel::schema {

/// Cells into one table, one by one or many rows at once (1.6 times as fast).
struct CellInsert {
  static constexpr int rows = 32;
  Statement one, many;
};

/// Statements of commit(), prepared once: a live recorder commits every few seconds, a load
/// thousands of times.
struct RecordStatements {
  CellInsert cell, recent_cell;
  Statement flight, tally, coverage, clock;
  Statement settle_copy, settle_delete, settle_mark, before_window, newest_recent;
};

/// How long the write-ahead log may grow before the recorder waits for readers to let go of it. A
/// commit of a load takes some 20 MB.
inline constexpr std::uintmax_t most_log_bytes = 32 * 1024 * 1024;

/// Adds to a count: feed, hour_s, kind, count.
inline constexpr std::string_view tally_sql =
    "INSERT INTO tally (feed, hour_s, kind, count) VALUES (?, ?, ?, ?)"
    " ON CONFLICT (feed, hour_s, kind) DO UPDATE SET count = count + excluded.count";

class SummaryKeeper;

/// Flights counted so far: those that come are added, as to find how many addresses differ among a
/// year's takes longer than all else that is told of it.
struct KnownFlights {
  std::int64_t version = -1;  ///< Store::trials_version(), which tells of addresses that change
  std::int64_t n{};           ///< up to `newest`
  Id newest{};
  std::vector<std::uint64_t> addresses{};  ///< sorted, each once
};

struct Store::Impl {
  // The lock outlives the connection, the statements do not.
  std::optional<RecorderLock> lock;
  Access access;
  Database database;
  std::optional<RecordStatements> record;
  /// A batch. Its cells are rows by key, no two with the same; `rest` has only those that no table
  /// can hold.
  struct Rows {
    Batch rest;
    std::vector<PackedCell> cells;
  };
  std::optional<Transaction> appending{};  // begun by append()
  std::vector<Rows> appended{};            // to be written anew when that is undone
  std::int64_t newest_before{};            // the newest cell's key when it began
  std::vector<PackedCell> held{};          // by key: those of them that belong into recent_cell
  Refusals refusals{}, committed_refusals{};
  std::unique_ptr<SummaryKeeper> keeper{};
  std::unique_ptr<Summariser> summariser{};
  KnownFlights flights{};
  const std::atomic<bool>* is_over{};  // stop_once()

  Impl(std::optional<RecorderLock> taken, Access how, Database opened);
  ~Impl();
  /// One batch in a transaction that goes on, or ends with it.
  Result<void> write(const Batch& batch, bool ends);
  Result<void> begin();
  std::optional<std::vector<PackedCell>> cells_of_hour(std::int64_t hour, const Rows& latest) const;
  Result<void> write_rows(const Rows& rows, bool ends);
  void bound_log();
  Result<void> write_flights(const Batch& batch);
  Result<void> write_cells(const Rows& rows, bool ends);
  Result<void> put_cells(const std::vector<PackedCell>& cells, Id feed, bool ends);
  Result<void> put(CellInsert& into, std::vector<PackedCell>::const_iterator first,
                   std::vector<PackedCell>::const_iterator last, Id feed);
  Result<void> refuse(const PackedCell& cell, Id feed, const Error& why);
  /// Made when first needed.
  Result<SummaryKeeper*> summaries();
};

/// Cells are keyed by window and flight in one integer, window first.
inline constexpr int flight_bits = 24;
constexpr std::int64_t cell_key(std::int64_t window, Id flight) {
  return window << flight_bits | flight;
}
constexpr std::int64_t window_of_key(std::int64_t key) { return key >> flight_bits; }
constexpr Id flight_of_key(std::int64_t key) { return key & max_flight_id; }

/// A trial's interval in windows: those that overlap it, [from, to).
struct WindowRange {
  std::int64_t from{}, to{};
};
inline WindowRange intersect(WindowRange a, WindowRange b) {
  return {std::max(a.from, b.from), std::min(a.to, b.to)};
}
WindowRange windows_of(const Trial& trial);
/// The windows that start in [from, to); open ends reach to the ends of time.
WindowRange windows_between(std::optional<double> from_s, std::optional<double> to_s);

/// What Store::trials_version() tells.
Result<void> count_change(const Database& database);

/// Several questions about one moment: a read transaction, unless one is open already.
Result<std::optional<Transaction>> one_moment(const Database& database);

/// The cell of a row `id, heard, expected, latitude_e4, longitude_e4, altitude_25ft,
/// signal_half_db, uncertainty_hm`.
Cell cell_in(const Statement& row);

/// "none" or "a, b, c": for messages that say what there is.
std::string listed(const std::vector<std::string>& names);

/// All trials, by start.
Result<std::vector<Trial>> read_trials(const Database& database);
/// The id of a name in `table`, made if missing.
Result<Id> ensure_name(const Database& database, std::string_view table, std::string_view name);
Result<std::vector<Named>> read_names(const Database& database, std::string_view table);

}  // namespace roundel::schema

/// Returns the error of a Result from the enclosing function. Evaluates its argument once.
#define ROUNDEL_TRY(result)                                                               \
  do {                                                                                    \
    if (auto&& tried = (result); !tried) return tl::unexpected(std::move(tried.error())); \
  } while (false)
