// Judges reports, forms cells and flights, and says what to write. Knows no socket, no clock and
// no database: reports and trials come in, batches go out.
#pragma once
#include <algorithm>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "roundel/feed/report.h"
#include "roundel/schema/store.h"
#include "roundel/siphash.h"
#include "roundel/site/sightline.h"

namespace roundel::record {

/// How far off a report may be and still count. Seconds are of the feed's clock.
struct Rules {
  double stale_s = 60;         ///< behind the feed's newest, at most 60; windows stay open for it
  double leap_s = 60;          ///< ahead of it, at most 60: held until others confirm
  double out_of_order_s = 30;  ///< if nothing comes less far behind, the feed's clock was set back
  double bridge_s = 300;       ///< silent cells are written across gaps up to this
  double infer_s = 1800;  ///< and, inferred, up to this where one straight path explains both ends
  double flight_break_s = 1800;
  double max_speed_kn = 800;          ///< ground speed beyond which a fix is not believed
  double max_horizon_ratio = 1.5;     ///< range over radio horizon beyond which no duct explains it
  std::optional<SipKey> address_key;  ///< addresses are recorded as its hashes; none: as they are
};

/// What happened lately, for live displays. Totals since start.
struct LiveCounts {
  std::int64_t received{}, repeats{}, rejected{};
  std::int64_t stored{};   ///< in cells; a Recording tells those that are committed instead
  double feed_time_s{};    ///< newest confirmed, 0 before the first
  std::size_t aircraft{};  ///< heard in the last 60 s
  double farthest_km{};    ///< since start
};

/// Numbers for new flights. One for all recorders of a database: copies count together. Used on one
/// thread.
class FlightIds {
 public:
  /// @param next  the first to be given: Store::next_flight_id()
  FlightIds(schema::Id next) : next_(std::make_shared<schema::Id>(next)) {}
  schema::Id take() { return (*next_)++; }
  /// The one taken last is not needed after all.
  void give_back() { --*next_; }
  /// This one is in use.
  void skip(schema::Id used) { *next_ = std::max(*next_, used + 1); }
  schema::Id next() const { return *next_; }

 private:
  std::shared_ptr<schema::Id> next_;
};

/// The recorder of one feed.
///
/// Time is the feed's own (feed_clock.h says how it is found), so that a recording is recorded as
/// it was live. A few reports wait until others confirm them: those that would make the clock leap,
/// and the first of each aircraft after a silence, at most until their window closes. They are
/// counted when that is decided; close() decides all.
/// Memory: at most 4096 aircraft, 4096 held reports, and what was not yet taken.
///
/// Use: construct, resume() from what the store holds, then accept()/reject() for every line, and
/// take() at each write interval; the batch is committed by the caller, who keeps it until the
/// store has it. close() at an orderly end. Every line counts once: received = stored + repeat +
/// rejects, in each batch's tally and in live().
class Recorder {
 public:
  struct Options {
    schema::Id feed{};
    Rules rules{};
    bool clock_is_arrival = false;
    /// Feed time recorded before (files loaded twice): reports in it are `already_recorded`.
    std::vector<schema::Coverage> recorded{};
  };

  /// @param viewpoint  must outlive the recorder
  Recorder(Options options, const site::Viewpoint& viewpoint, FlightIds flight_ids);
  Recorder(Recorder&&) noexcept;
  Recorder& operator=(Recorder&&) noexcept;
  ~Recorder();

  /// Trials of this feed, by start; given anew whenever they change. A flight never crosses from
  /// one trial into another.
  void set_trials(std::vector<schema::Trial> trials);

  /// Continues open flights after a restart: no silent cells are invented for the time between.
  /// @param tail  the latest cells of those flights (of at least the last 35 min of feed time)
  void resume(std::span<const schema::Flight> open, std::span<const schema::Cell> tail);

  /// One decoded report. @param arrival_s  the computer's clock, Unix seconds
  void accept(const feed::Report& report, double arrival_s);
  /// A line that did not become a report.
  void reject(feed::Reject reason, std::int64_t count = 1);
  /// The connection was lost or made anew: silence until the next report says nothing.
  void interrupted();

  /// What has changed since the last take(): closed cells, and the present state of open ones
  /// (so that a kill loses at most the time since the last commit).
  schema::Batch take();
  /// Closed cells that the next take() brings.
  std::size_t n_untaken_cells() const;
  /// Closes all windows and flights; then take() once more.
  void close();

  schema::Id next_flight_id() const;
  const LiveCounts& live() const;
  /// That of live(), which counts aircraft.
  double feed_time_s() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::record
