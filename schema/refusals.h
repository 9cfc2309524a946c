// Rows that a table refused: what was lost with each. Private to schema/.
#pragma once
#include <cstdint>
#include <map>
#include <set>
#include <utility>

#include "roundel/schema/rows.h"
#include "schema/packed_cell.h"
#include "schema/sqlite.h"

namespace roundel::schema {

/// The recorder checks every report, so no row should ever be refused. Where one is all the same,
/// the rest of its batch is written without it, and its reports are counted as `refused` instead of
/// `stored`. A value: what a transaction that is undone has added is taken back by assignment.
class Refusals {
 public:
  /// Counts a cell that was refused, in the tally as well. A cell that goes on is given again and
  /// again, each time with all that was heard: each report is counted once.
  /// @param batch_feed  of the batch, for a cell whose flight is not known
  Result<void> add_cell(const Database& database, std::int64_t window, Id flight, int heard,
                        Id batch_feed, const std::string& why);
  /// Cells of a flight that is not in its table can be of no use: from now on they are refused.
  Result<void> add_flight(const Database& database, Id flight, const std::string& why);
  void flight_is_stored(Id flight) { flights_.erase(flight); }

  bool has_flights() const { return !flights_.empty(); }
  bool has_flight(Id flight) const { return flights_.contains(flight); }
  const Refused& total() const { return total_; }

 private:
  Refused total_;
  std::set<Id> flights_;
  // Reports of refused cells that are accounted for, by window and flight.
  std::map<std::pair<std::int64_t, Id>, std::int64_t> counted_;
};

}  // namespace roundel::schema
