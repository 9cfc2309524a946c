// Keeps the hourly summaries in step with the cells. Private to schema/.
//
// An hour is summarised when all its cells have settled, in the transaction that settles the last.
// What reaches a summarised hour later makes its summary stale; stale ones are made anew by a later
// commit that leaves the hour alone, so that a feed which lags behind costs one more pass an hour,
// not one a commit.
#pragma once
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <vector>

#include "roundel/schema/summary.h"
#include "schema/sqlite.h"
#include "schema/store_impl.h"

namespace roundel::schema {

inline constexpr int trial_bits = 24;
constexpr std::int64_t summary_key(std::int64_t hour, Id trial) {
  return hour << trial_bits | trial;
}
constexpr std::int64_t hour_of_key(std::int64_t key) { return key >> trial_bits; }
constexpr Id trial_of_key(std::int64_t key) { return key & ((Id{1} << trial_bits) - 1); }
constexpr std::int64_t first_cell_key(std::int64_t hour) {
  return cell_key(hour * windows_per_hour, 0);
}

/// Every complete hour before this one has been summarised.
Result<std::int64_t> summarised_before_hour(const Database& database);

/// The cells of an hour by key, where memory still holds all of them.
using CellsInMemory = std::function<std::optional<std::vector<PackedCell>>(std::int64_t hour)>;

/// Reads the cells of one hour.
class HourReader {
 public:
  static Result<HourReader> make(const Database& database);
  /// By trial; all but `cells_gone`. @param in_memory  may be empty
  Result<std::map<Id, Summary>> read(std::int64_t hour, Summariser& by,
                                     const CellsInMemory& in_memory = {});
  /// The first hour from this one on that has a settled cell.
  Result<std::optional<std::int64_t>> next_hour(std::int64_t from_hour);

 private:
  HourReader(Statement cells, Statement flight, Statement first)
      : cells_(std::move(cells)), flight_(std::move(flight)), first_(std::move(first)) {}
  struct Reading;
  Result<std::optional<Flight>> flight(Id id);
  Result<void> add(const Cell& cell, Summariser& by, Reading& reading);

  Statement cells_, flight_, first_;
};

class SummaryKeeper {
 public:
  static Result<SummaryKeeper> make(const Database& database);

  /// Before a batch is written: marks the summaries that will no longer be true.
  Result<void> touch(const std::vector<Flight>& flights, const std::vector<PackedCell>& cells);
  /// Makes up to n_hours that are stale or complete. True: more wait.
  Result<bool> advance(Summariser& by, int n_hours, const CellsInMemory& in_memory = {});
  /// Everything that still has its cells is to be made anew.
  Result<void> mark_all_stale();
  /// No batch concerns any hour any more.
  void forget_touched() { touched_hours_.clear(); }

 private:
  struct Statements {
    Statement before_hour, set_before_hour, before_window;
    Statement flight, stale, mark_stale, mark_all_stale;
    Statement kept, put, put_flights, remove, remove_flights, remove_cell, cell_keys;
  };
  SummaryKeeper(HourReader reader, Statements statements)
      : reader_(std::move(reader)), statements_(std::move(statements)) {}
  Result<void> touch_flight(const Flight& flight, std::int64_t before_hour,
                            std::set<std::int64_t>& keys);
  Result<void> touch_cells(const std::vector<Flight>& flights, const std::vector<PackedCell>& cells,
                           std::int64_t before_hour, std::set<std::int64_t>& keys);
  Result<std::optional<std::int64_t>> next_stale();
  Result<void> summarise(std::int64_t hour, Summariser& by, const CellsInMemory& in_memory);
  Result<void> remove_cells(std::int64_t hour, Id trial);

  HourReader reader_;
  Statements statements_;
  std::set<std::int64_t> touched_hours_;  // by the batch that was written last
};

}  // namespace roundel::schema
