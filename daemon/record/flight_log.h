// Open flights: their cells while windows are open, the silent cells between, what to write.
#pragma once
#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "daemon/record/aircraft_table.h"
#include "daemon/record/cell_sum.h"
#include "daemon/record/coverage.h"
#include "daemon/record/silent_cells.h"
#include "daemon/record/trial_table.h"
#include "roundel/schema/store.h"

namespace roundel::record {

/// Number of the window that holds this time; |time_s| below 1e18.
inline std::int64_t window_of(double time_s) noexcept {
  // Not std::floor, which is a call on processors that have no instruction for it.
  const double windows = time_s / schema::window_s;
  const auto towards_zero = static_cast<std::int64_t>(windows);
  return towards_zero - (windows < static_cast<double>(towards_zero) ? 1 : 0);
}

/// Up to n heard cells of a flight that follow each other closely.
template <std::size_t n>
struct HeardCells {
  std::array<HeardCell, n> cells;
  std::size_t size = 0;
  std::span<const HeardCell> span() const { return {cells.data(), size}; }
};

class FlightLog {
 public:
  /// Windows open at once; later ones than that must wait for close_window().
  static constexpr std::int64_t n_open_windows = 16;
  static constexpr std::size_t capacity = AircraftTable::capacity + 1024;

  FlightLog(const Rules& rules, const Coverage& coverage, FlightIds ids)
      : rules_(rules), coverage_(coverage), ids_(std::move(ids)) {}

  /// Adds a fix to its cell. False, and nothing done: more flights than capacity, or
  /// than can be numbered.
  /// Precondition: its window is one of the n_open_windows after the last closed.
  bool record(Aircraft& aircraft, const Fix& fix, const TrialSpan& trial);
  /// Something was heard of the aircraft which is in no cell: that window is not silent.
  void mark_heard(const Aircraft& aircraft, double time_s) noexcept;
  /// The aircraft's next fix begins a new flight.
  void split(Aircraft& aircraft) noexcept;

  /// Windows are closed in order, each once; some may be left out if nothing is open in them.
  void close_window(std::int64_t window);
  std::int64_t closed_window() const noexcept { return closed_; }
  /// As if all windows until this one had been closed. Precondition: nothing is open.
  void set_closed_window(std::int64_t window) noexcept { closed_ = window; }
  /// Closes every window and ends every flight.
  void end_all();
  bool empty() const noexcept { return n_live_ == 0; }

  /// Reports that an ordinary window after `window` would bring, from what each flight had lately.
  /// No flight counts for more than four: one or two aircraft may vanish behind a wall at once.
  double expected_reports(std::int64_t window) const noexcept;

  /// Of the latest 256 cells or so that are full, the share with more reports than an aircraft
  /// sends: the feed prints positions of its own making between those received.
  double crowded_share() const noexcept { return n_full_ >= enough_full ? crowded_share_ : 0; }

  void set_trials(const TrialTable& trials) noexcept;
  /// Goes on with stored flights. @param refs  out: one for each flight gone on with
  struct Resumed {
    std::uint32_t address{};
    FlightRef ref;
    std::int64_t last_window{};
    HeardCell last;
  };
  std::vector<Resumed> resume(std::span<const schema::Flight> open,
                              std::span<const schema::Cell> tail, double until_s);

  /// Moves what is new or changed to the batch: flights and cells.
  void take(schema::Batch& batch);
  std::size_t n_untaken_cells() const noexcept { return cells_.size(); }
  schema::Id next_id() const noexcept { return ids_.next(); }

 private:
  struct Gap {
    HeardCells<6> before, after;
    std::int64_t heard_from{}, heard_to{};
  };
  struct OpenFlight {
    schema::Flight row;
    std::int32_t place{};  // in flights_
    bool is_live = false;
    bool is_changed = false;     // the row, since the last take
    bool is_superseded = false;  // ends with its open windows
    TrialSpan trial;
    double resumed_until_s{};  // 0: begun in this run
    std::int64_t last_window{};
    float recent_heard{};  // reports a window, mean with weight 1/3 on the latest
    // First and last window with something heard that is in no cell, since the last heard cell.
    std::int64_t uncounted_from{}, uncounted_to{-1};
    HeardCells<6> heard;  // the latest, no more than two minutes apart
    std::optional<Gap> gap;
    std::array<CellSum, n_open_windows> open;
  };

  OpenFlight* get(const FlightRef& ref) noexcept;
  OpenFlight* find(const Aircraft& aircraft, schema::Id trial, std::int64_t window) noexcept;
  FlightRef begin(const Aircraft& aircraft, const TrialSpan& trial, std::int64_t window);
  void end(OpenFlight& flight);
  int expected(const OpenFlight& flight, std::int64_t window) const noexcept;
  int expected(const OpenFlight& flight, const CellSum& cell) const noexcept;
  void give(const OpenFlight& flight, CellSum& cell);
  void note_crowding(const CellSum& cell) noexcept;
  void follow(OpenFlight& flight, const HeardCell& cell);
  void fill(const OpenFlight& flight, const HeardCell& from, const HeardCell& to);
  void fill(const OpenFlight& flight, const Gap& gap);
  void give_silent(const OpenFlight& flight, std::int64_t window, const Waypoint& at,
                   double uncertainty_km);

  static constexpr int enough_full = 32;

  const Rules& rules_;
  const Coverage& coverage_;
  FlightIds ids_;
  std::int64_t closed_ = INT64_MIN;
  std::size_t n_live_ = 0;
  int n_full_ = 0;
  double crowded_share_ = 0;
  bool is_muted_ = false;           // while stored cells are followed again
  std::deque<OpenFlight> flights_;  // at some 2.4 kB each: no room for twice as many
  std::vector<std::int32_t> free_;
  std::vector<schema::Cell> cells_;
  std::vector<schema::Flight> rows_;  // of flights ended since the last take
};

}  // namespace roundel::record
