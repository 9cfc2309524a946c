// One database of cells: the only way to what is stored.
#pragma once
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"

namespace roundel::schema {

/// What to read. Empty members do not restrict. Names that the database does not know are an
/// error (Errc::not_found, naming those it knows).
struct Selection {
  std::optional<std::string> antenna, receiver, mount, feed;
  std::vector<Id> trials;
  std::optional<double> from_s, to_s;  ///< half-open [from, to)
};

/// Everything that one commit of the recorder writes: all of it or none.
struct Batch {
  Id feed{};
  std::vector<Flight> flights;      ///< new ones, and known ones whose last_window is now set
  std::vector<Cell> cells;          ///< replaces a cell of the same window and flight
  std::int64_t hour_s{};            ///< start of the hour of feed time the tally belongs to
  Tally tally;                      ///< increments
  std::vector<Coverage> coverage;   ///< replaces one of the same feed and from_s
  bool empty() const {
    return flights.empty() && cells.empty() && tally.empty() && coverage.empty();
  }
};

/// Totals for `status`.
struct Totals {
  std::int64_t cells{}, silent_cells{}, flights{}, aircraft{}, bytes{};
  std::optional<std::int64_t> from_s, to_s;
};

/// What was heard in one hour.
struct Hour {
  std::int64_t hour_s{};     ///< its start, a multiple of 3600
  std::int64_t heard{};      ///< reports that got through
  std::int64_t expected{};   ///< chances there were
};

/// One database. Owns one SQLite connection; movable, not copyable.
///
/// Threads: one Store per thread; one writer beside any number of readers (WAL).
/// Durability: what commit() has returned for survives a kill and a power cut (synchronous=FULL).
class Store {
 public:
  enum class Access { read, write };

  /// With Access::write creates the file, or migrates it, one transaction per step.
  /// Errc: not_found, not_a_store, newer_schema, busy, corrupt, io, disk_full.
  /// A file that is refused is left byte for byte as it was.
  static Result<Store> open(const std::filesystem::path& file, Access access);

  Store(Store&&) noexcept;
  Store& operator=(Store&&) noexcept;
  ~Store();

  // --- Names, site, trials -------------------------------------------------------------------
  Result<std::optional<SiteRow>> site() const;
  Result<void> set_site(const SiteRow& site);

  /// The feed of that name, made if missing.
  Result<Id> feed_id(std::string_view name);
  Result<std::vector<Named>> feeds() const;
  Result<std::vector<Named>> antennas() const;
  Result<std::vector<Named>> receivers() const;
  Result<std::vector<Named>> mounts() const;

  /// All trials, by start. Names of equipment are made if missing when a trial names them.
  Result<std::vector<Trial>> trials() const;
  Result<std::vector<Trial>> trials(const Selection& which) const;
  /// Starts a trial (trial.id is ignored); a running trial of the same feed is stopped at its
  /// start. Errc::out_of_range if it would overlap a finished trial of that feed.
  Result<Trial> start_trial(const Trial& trial);
  /// Errc::not_found when nothing runs on the feed.
  Result<Trial> stop_trial(std::string_view feed, std::int64_t stop_s);
  /// Lets a trial begin earlier (older recordings loaded later). Errc::out_of_range on overlap.
  Result<void> extend_trial(Id trial, std::int64_t start_s);
  Result<Id> add_note(const Note& note);
  Result<std::vector<Note>> notes() const;
  /// Grows by one with every change to trials or notes by any process: cheap to poll.
  Result<std::int64_t> trials_version() const;

  // --- Recording -----------------------------------------------------------------------------
  Result<Id> next_flight_id() const;
  /// All or nothing. Errc: disk_full, busy, io; the caller keeps the batch and may retry.
  Result<void> commit(const Batch& batch);
  /// Flights of this feed without a last_window, to resume from after a restart.
  Result<std::vector<Flight>> open_flights(Id feed) const;
  Result<std::vector<Coverage>> coverage(Id feed) const;

  // --- Reading -------------------------------------------------------------------------------
  /// Visits each selected cell once, ordered by window, then flight. Memory does not grow with
  /// the answer. The reference lives for the call; return false to stop.
  Result<void> each_cell(const Selection& which,
                         const std::function<bool(const Cell&)>& visit) const;
  /// Every flight of the selected trials, by id.
  Result<std::vector<Flight>> flights(const Selection& which) const;
  /// Increments per feed and hour, summed over the selected time.
  Result<Tally> tally(std::optional<Id> feed, std::optional<std::int64_t> from_s = {},
                      std::optional<std::int64_t> to_s = {}) const;
  Result<Totals> totals() const;
  /// Sums over the selected cells by hour, in order; hours without a cell are left out.
  Result<std::vector<Hour>> hours(const Selection& which) const;
  /// Differs from what it was before whenever another connection has committed since (SQLite's
  /// data_version): what was computed under the same number is still right. Cheap to poll.
  /// Numbers of different Store objects must not be compared.
  Result<std::int64_t> data_version() const;

 private:
  struct Impl;
  explicit Store(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::schema
