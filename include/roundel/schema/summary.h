// Hourly summaries: what one trial heard in one hour, kept when its cells may be gone.
#pragma once
#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::schema {

/// The Summariser's own bytes.
struct SummaryDetail {
  std::string places{};   ///< what was heard where: reach
  std::string flights{};  ///< what each flight showed: verdict, compare
  bool operator==(const SummaryDetail&) const = default;
};

/// Reading a year of one need not read the other.
enum class SummaryPart { places, flights };

struct Summary {
  std::int64_t hour_s{};  ///< its start, a multiple of 3600
  Id trial{};
  std::int64_t cells{}, silent_cells{};
  std::int64_t heard{}, expected{};  ///< reports that got through, chances there were
  bool cells_gone{};                 ///< the cells have been removed; nothing else knows
  SummaryDetail detail;
};

/// Condenses the cells of an hour. The store knows no geometry: it keeps the bytes, and calls this
/// in the transaction in which an hour becomes complete.
class Summariser {
 public:
  virtual ~Summariser() = default;
  /// Another number whenever the same cells would give other bytes: those kept are then made anew.
  virtual int method() const = 0;
  /// All cells of one hour, by window, then flight.
  virtual void add(const Cell& cell, const Flight& flight) = 0;
  /// The details by trial, and begins anew.
  virtual std::map<Id, SummaryDetail> finish() = 0;
  /// Of both together: an hour whose cells are gone, and cells that came for it later.
  virtual SummaryDetail merged(const SummaryDetail& a, const SummaryDetail& b) const = 0;
};

/// Which summaries stand for cells: all of hours before before_s, but for the stale ones.
struct SummaryState {
  std::int64_t before_s{};
  struct Stale {
    std::int64_t hour_s{};
    Id trial{};
  };
  std::vector<Stale> stale;  ///< cells came late for these; they will be made anew
};

/// What comparing summaries with cells has found.
struct SummaryCheck {
  std::int64_t hours{};                ///< compared
  std::int64_t stale{}, cells_gone{};  ///< not compared: by trial and hour
  std::vector<std::int64_t> wrong_hours_s;
};

}  // namespace roundel::schema
