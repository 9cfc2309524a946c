// One database of cells: the only way to what is stored.
#pragma once
#include <atomic>
#include <chrono>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/summary.h"

namespace roundel::schema {

/// What to read. Empty members do not restrict. Names that the database does not know are an
/// error (Errc::not_found, naming those it knows).
///
/// A cell counts to a trial only within the trial's interval: when a trial is stopped in
/// hindsight ("swapped an hour ago"), what was recorded since is kept but no longer selected.
struct Selection {
  std::optional<std::string> antenna, receiver, mount, feed;
  std::vector<Id> trials;
  std::optional<double> from_s, to_s;  ///< half-open [from, to); a cell is at its window's start
};

/// Everything that one commit of the recorder writes: all of it or none.
struct Batch {
  Id feed{};
  std::vector<Flight> flights;  ///< new ones, and known ones with another first or last window
  std::vector<Cell> cells;      ///< any order; replaces a cell of the same window and flight
  std::int64_t hour_s{};        ///< start of the hour of feed time the tally belongs to
  Tally tally;                  ///< increments
  std::map<std::int64_t, Tally> earlier;  ///< likewise, for hours before hour_s, by their start
  std::vector<Coverage> coverage;         ///< replaces one of the same feed and from_s
  std::optional<FeedClock> clock;         ///< replaces that of the feed
  bool empty() const {
    return flights.empty() && cells.empty() && tally.empty() && earlier.empty() &&
           coverage.empty() && !clock;
  }
};

/// When the first cell begins and the last ends.
struct CellSpan {
  std::int64_t from_s{}, to_s{};
};

/// Totals for `status`.
struct Totals {
  std::int64_t cells{}, silent_cells{}, flights{}, aircraft{}, bytes{};
  /// Of hours of which only the summary is left; not among `cells`.
  std::int64_t summarised_cells{};
  std::optional<std::int64_t> from_s, to_s;       ///< of cells
  std::optional<std::int64_t> summarised_from_s;  ///< the first such hour
};

/// What was heard in one hour.
struct Hour {
  std::int64_t hour_s{};    ///< its start, a multiple of 3600
  std::int64_t cells{};     ///< > 0
  std::int64_t heard{};     ///< reports that got through
  std::int64_t expected{};  ///< chances there were
};

/// One database. Owns one SQLite connection; movable, not copyable.
///
/// Threads: one Store per thread; one recorder beside any number of readers (WAL).
/// Durability: what commit() has returned for survives a kill and a power cut (synchronous=FULL).
/// Every call may fail with Errc: busy, corrupt, io, and those that write with disk_full; after a
/// failure nothing of that call is stored, and it may be tried again.
class Store {
 public:
  enum class Access {
    read,    ///< nothing is changed
    write,   ///< site, trials, notes: any number of processes, also beside a recorder
    record,  ///< all of it, and commit(): one at a time; a second gets Errc::busy at once
  };

  /// With Access::write or record creates the file, or brings it up to date in one transaction;
  /// with write not while an older version records into it (Errc::busy). With read a file of an
  /// older version is read as it is.
  /// Errc: not_found, not_a_store, newer_schema, busy, corrupt, io, disk_full.
  /// A file that is refused is left byte for byte as it was.
  static Result<Store> open(const std::filesystem::path& file, Access access);

  /// Another connection to the same file, to read on another thread. Errc as for open().
  Result<Store> reopened() const;

  Store(Store&&) noexcept;
  Store& operator=(Store&&) noexcept;
  ~Store();

  /// How long a call waits while another program writes, until it fails with Errc::busy: 10 s
  /// unless set.
  void wait_at_most(std::chrono::milliseconds time);
  /// Reading fails with Errc::io soon after this has become true: nobody wants the answer any more.
  /// So it does for a store that reopened() gives. @param is_over  outlives them
  void stop_once(const std::atomic<bool>& is_over);

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
  /// Starts a trial (trial.id is ignored) and returns it as stored; a running trial of the same
  /// feed is stopped at its start. With stop_s set it is a finished trial of the past and leaves
  /// the running one alone. Errc::out_of_range if it would overlap another trial of that feed, or
  /// for a name, rotation or time that is not acceptable.
  Result<Trial> start_trial(const Trial& trial);
  /// Errc::not_found when nothing runs on the feed; out_of_range before the trial's start.
  Result<Trial> stop_trial(std::string_view feed, std::int64_t stop_s);
  /// Lets a trial begin earlier (older recordings loaded later); a later start changes nothing.
  /// Errc::out_of_range on overlap.
  Result<void> extend_trial(Id trial, std::int64_t start_s);
  /// Lets a trial end elsewhere, or go on (none). Errc::out_of_range on overlap or before its
  /// start.
  Result<void> set_trial_stop(Id trial, std::optional<std::int64_t> stop_s);
  /// Errc::out_of_range for an empty text, not_found for an unknown trial.
  Result<Id> add_note(const Note& note);
  /// By time.
  Result<std::vector<Note>> notes() const;
  /// Grows by one with every change to trials or notes by any process, and when addresses are
  /// forgotten: cheap to poll.
  Result<std::int64_t> trials_version() const;

  // --- Recording -----------------------------------------------------------------------------
  Result<Id> next_flight_id() const;
  /// All or nothing, but for cells and flights that a table refuses: those rows alone are left out,
  /// and refused() tells. Needs Access::record (asserted). The caller keeps the batch until it is
  /// stored and may retry. Errc::out_of_range names another value that no table accepts; not_found:
  /// the file was moved or deleted, and nothing can be stored any more.
  Result<void> commit(const Batch& batch);
  /// As commit(), for one batch of many: stored only with the next commit(), whose batch may be
  /// empty. Until then other writers wait. It is kept here (24 bytes a cell), and written anew by
  /// the next call where a later one fails. Cells that may still change wait in memory (24 bytes
  /// again), which spares writing them twice.
  /// @pre between the two only summarise() and these are called
  Result<void> append(const Batch& batch);
  /// Rows that were left out of what has been committed, since the store was opened. Their reports
  /// are counted in the tally as `refused` instead of `stored`.
  const Refused& refused() const;
  /// Cells that append() keeps, those that wait counted twice.
  std::size_t n_kept() const;
  /// From now on commit() keeps the hourly summaries, two hours at a time where more are missing.
  /// Without it they only fall behind, and no one is misled: SummaryState says which stand.
  /// Needs Access::record (asserted).
  Result<void> keep_summaries(std::unique_ptr<Summariser> by);
  /// Makes up to n_hours that are complete or stale. True: there are more.
  /// @pre keep_summaries() was called
  Result<bool> summarise(int n_hours);
  /// One step of keeping no more than that: removes the cells of the oldest hour, which its
  /// summaries outlive, or gives a megabyte back to the file system where much of the file is free.
  /// True: something was done, and more may be to do. What is not summarised stays.
  Result<bool> drop_cells(const Retention& keep);
  /// Flights of this feed without a last_window, to resume from after a restart.
  Result<std::vector<Flight>> open_flights(Id feed) const;
  Result<std::vector<Coverage>> coverage(Id feed) const;
  /// None before the first report with a time of its own.
  Result<std::optional<FeedClock>> clock(Id feed) const;
  /// Packs the file again after older data have been loaded between newer ones, and empties the
  /// write-ahead log. Takes about a second per 200 MB and as much free disk for the while.
  Result<void> compact();
  /// Replaces the address of every flight that ended before a time by a number that says nothing:
  /// equal for equal addresses among those replaced at once, and never to be turned back. Returns
  /// how many flights that were. Open flights are left alone.
  Result<std::int64_t> forget_addresses(double before_s);
  /// Copies the database, as it is at this moment, to a file that does not exist yet; others may
  /// record meanwhile. The copy has its name only once it is whole and has been read through.
  /// @param progress  called now and then with the share that is done, [0, 1]
  /// Errc: io (exists, cannot be written), disk_full, corrupt.
  Result<void> backup(const std::filesystem::path& file,
                      const std::function<void(double)>& progress = {}) const;

  // --- Reading -------------------------------------------------------------------------------
  /// All that `read` reads from this store it sees as of one moment, several calls too. Not within
  /// a write; the errors of `read` are passed on.
  Result<void> at_one_moment(const std::function<Result<void>()>& read) const;
  /// Visits each selected cell once, ordered by window, then flight, as of one moment: commits of
  /// others meanwhile are not seen. Memory does not grow with the number of cells (4 bytes a
  /// flight). The reference lives for the call; return false to stop. `visit` may read from this
  /// store but not write to it.
  Result<void> each_cell(const Selection& which,
                         const std::function<bool(const Cell&)>& visit) const;
  /// Every flight of the selected trials that has cells within the selected time, by id.
  Result<std::vector<Flight>> flights(const Selection& which) const;
  /// The same of each of some, in one pass.
  Result<std::vector<std::vector<Flight>>> flights_of_each(std::span<const Selection> each) const;
  /// Those there are of these numbers, by id.
  Result<std::vector<Flight>> flights_of(std::span<const Id> ids) const;
  /// Summed over the hours that begin in [from, to), for one feed or all.
  Result<Tally> tally(std::optional<Id> feed, std::optional<std::int64_t> from_s = {},
                      std::optional<std::int64_t> to_s = {}) const;
  /// Aircraft are remembered for the next call, at 8 bytes each: only flights that have come since
  /// are read then.
  Result<Totals> totals() const;
  /// What of totals() costs nothing. None: there is no cell.
  Result<std::optional<CellSpan>> cell_span() const;
  /// tally() of each feed that has one, over all hours, in one pass.
  Result<std::map<Id, Tally>> tallies() const;
  /// Sums over the selected cells by hour, in order; hours without a cell are left out. Cells that
  /// are gone count where their hour begins in the selected time.
  Result<std::vector<Hour>> hours(const Selection& which) const;
  /// Summaries that stand for cells, by hour, then trial: of the selected trials, for hours that
  /// begin in the selected time and overlap the trial's. Return false to stop.
  /// @param only_gone  those alone whose cells have been removed
  /// @param part       of their details; the other is empty. Of hours that lost their cells before
  ///   there were flights' details, those are empty as well.
  Result<void> each_summary(const Selection& which, bool only_gone, SummaryPart part,
                            const std::function<bool(Summary&&)>& visit) const;
  Result<SummaryState> summary_state() const;
  /// Makes all summaries anew from the cells that are there, and compares.
  Result<SummaryCheck> check_summaries(Summariser& by) const;
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
