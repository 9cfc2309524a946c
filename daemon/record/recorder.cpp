#include "roundel/record/recorder.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <optional>
#include <utility>

#include "daemon/record/address_key.h"
#include "daemon/record/aircraft_table.h"
#include "daemon/record/counts.h"
#include "daemon/record/coverage.h"
#include "daemon/record/feed_activity.h"
#include "daemon/record/feed_clock.h"
#include "daemon/record/flight_log.h"
#include "daemon/record/plausibility.h"
#include "daemon/record/trial_table.h"

namespace roundel::record {
namespace {

// Held for a leap of the clock; a feed whose clock stands still in the future fills it.
constexpr std::size_t max_held = 4096;
constexpr double live_aircraft_s = 60;
// Aircraft without a flight are forgotten after this long.
constexpr double forget_s = 120;

Rules bounded(Rules rules) {
  // What open windows hold: FlightLog::n_open_windows, less two for judging silence.
  constexpr double most_s = 60;
  rules.stale_s = std::clamp(rules.stale_s, 0.0, most_s);
  rules.leap_s = std::clamp(rules.leap_s, 0.0, most_s);
  return rules;
}

}  // namespace

struct Recorder::Impl {
  struct Held {
    PlausibleReport report;
    double time_s;
  };

  Impl(Options given, const site::Viewpoint& from, FlightIds flight_ids)
      : options(std::move(given)),
        rules(bounded(options.rules)),
        viewpoint(from),
        clock(rules),
        coverage(options.feed, options.recorded),
        flights(rules, coverage, std::move(flight_ids)) {}

  bool has_own_time(const feed::Report& report) const;
  bool is_near(double time_s) const;
  void note_activity(double time_s);
  void reject(std::uint32_t address, double time_s, feed::Reject reason);
  void accept(const PlausibleReport& report, double time_s, std::optional<double> arrival_s);
  void accept_in_time(const PlausibleReport& report, double time_s);
  void accept_leap(const PlausibleReport& report, double time_s);
  void hold(const PlausibleReport& report, double time_s);
  void reject_held(std::size_t n_kept);
  void go_back();
  void advance();
  void settle(std::int64_t window);
  void settle(Aircraft& aircraft);
  void purge();
  Aircraft* aircraft_of(std::uint32_t address);
  void judge(Aircraft& aircraft, const Fix& fix);
  void store(Aircraft& aircraft, const Fix& fix);
  void reject_fix(const Aircraft& aircraft, const Fix& fix, feed::Reject reason);
  void close();

  const Options options;
  const Rules rules;
  const site::Viewpoint& viewpoint;
  FeedClock clock;
  Coverage coverage;
  TrialTable trials;
  AircraftTable table;
  FlightLog flights;
  FeedActivity activity;
  Counts counts;
  std::vector<Held> held;
  std::vector<schema::Coverage> rows;       // made before the clock was set back
  std::optional<schema::FeedClock> newest;  // since the last take
  std::int64_t purged_window = INT64_MIN;
};

// --- Time ------------------------------------------------------------------------------------

bool Recorder::Impl::has_own_time(const feed::Report& report) const {
  return report.time_s && !options.clock_is_arrival;
}

bool Recorder::Impl::is_near(double time_s) const {
  return clock.is_running() && time_s >= clock.now() - rules.stale_s &&
         time_s <= clock.newest() + rules.leap_s;
}

// Something came from the feed, whatever becomes of it.
void Recorder::Impl::note_activity(double time_s) {
  if (!clock.is_running()) return;
  const double heard_s = is_near(time_s) ? time_s : clock.newest();
  activity.heard(window_of(heard_s), heard_s);
}

// It is implausible in itself.
void Recorder::Impl::reject(std::uint32_t address, double time_s, feed::Reject reason) {
  if (is_near(time_s) && reason != feed::Reject::bad_address) {
    if (const Aircraft* known = table.find(address)) flights.mark_heard(*known, time_s);
  }
  counts.reject(reason);
}

// @param arrival_s  where it tells how far the feed's clock is off; none: it does not
void Recorder::Impl::accept(const PlausibleReport& report, double time_s,
                            std::optional<double> arrival_s) {
  if (!(time_s >= 0)) return counts.reject(feed::Reject::stale);
  if (time_s > latest_time_s) return counts.reject(feed::Reject::future);
  const FeedClock::Verdict verdict = clock.judge(time_s);
  if (arrival_s && verdict != FeedClock::Verdict::hold && verdict != FeedClock::Verdict::stale &&
      time_s >= clock.newest()) {
    newest = schema::FeedClock{time_s, *arrival_s};
  }
  switch (verdict) {
    case FeedClock::Verdict::accept:
      if (!held.empty()) reject_held(0);
      return accept_in_time(report, time_s);
    case FeedClock::Verdict::hold:
      return hold(report, time_s);
    case FeedClock::Verdict::leap:
      return accept_leap(report, time_s);
    case FeedClock::Verdict::stale:
      return counts.reject(feed::Reject::stale);
    case FeedClock::Verdict::set_back:
      go_back();
      return accept_in_time(report, time_s);
  }
}

void Recorder::Impl::hold(const PlausibleReport& report, double time_s) {
  if (held.size() == max_held) {
    held.erase(held.begin(), held.begin() + max_held / 2);
    counts.reject(feed::Reject::future, max_held / 2);
  }
  held.push_back({report, time_s});
}

void Recorder::Impl::reject_held(std::size_t n_kept) {
  counts.reject(feed::Reject::future, static_cast<std::int64_t>(held.size() - n_kept));
  held.erase(held.begin(), held.end() - static_cast<std::ptrdiff_t>(n_kept));
}

void Recorder::Impl::accept_leap(const PlausibleReport& report, double time_s) {
  reject_held(std::min(clock.chain_length() - 1, held.size()));
  held.push_back({report, time_s});
  const std::vector<Held> confirmed = std::exchange(held, {});
  if (!clock.is_running() && !flights.empty()) {
    // Flights of an earlier run lie ahead: an older recording is being loaded.
    const double first_s = std::ranges::min(confirmed, {}, &Held::time_s).time_s;
    if (first_s < coverage.recorded_until() - rules.stale_s) go_back();
  }
  for (const Held& one : confirmed) {
    if (clock.is_running() && one.time_s > clock.newest() + rules.bridge_s) coverage.interrupt();
    clock.follow(one.time_s);
    activity.heard(window_of(one.time_s), one.time_s);
    accept_in_time(one.report, one.time_s);
  }
}

void Recorder::Impl::go_back() {
  for (Aircraft& aircraft : table) settle(aircraft);
  flights.end_all();
  table.remove_if([](const Aircraft&) { return true; });
  coverage.interrupt();
  std::ranges::move(coverage.take_rows(trials.spans()), std::back_inserter(rows));
  flights.set_closed_window(INT64_MIN);
  activity = {};
}

// Closes what the clock has passed. A window's silence is judged one window before its cells are
// closed, as a feed that dies in the middle of a window cuts that one, too.
void Recorder::Impl::advance() {
  counts.set_time(clock.now());
  const std::int64_t target = window_of(clock.now() - rules.stale_s) - 2;
  if (flights.closed_window() == INT64_MIN) {
    flights.set_closed_window(target);
    activity.begin_after(target + 1);
    return;
  }
  if (target <= flights.closed_window()) return;
  // Beyond the windows that can be open, and those of a gap that is bridged, nothing is left.
  const auto bridge_windows = static_cast<std::int64_t>(rules.bridge_s) / schema::window_s;
  const std::int64_t last_step =
      flights.closed_window() + 2 * FlightLog::n_open_windows + bridge_windows;
  while (flights.closed_window() < target) {
    const std::int64_t window =
        flights.closed_window() < last_step ? flights.closed_window() + 1 : target;
    activity.judge(window + 1, flights, coverage);
    settle(window);
    flights.close_window(window);
  }
  const double now_s = clock.now();
  table.remove_if([&](const Aircraft& aircraft) {
    if (!aircraft.track.held().empty()) return false;
    const double silent_s = now_s - aircraft.last_time_s;
    return silent_s > (aircraft.current.place < 0 ? forget_s : rules.flight_break_s + forget_s);
  });
}

// --- Aircraft --------------------------------------------------------------------------------

void Recorder::Impl::settle(std::int64_t window) {
  for (Aircraft& aircraft : table) {
    const auto fixes = aircraft.track.held();
    if (std::ranges::any_of(fixes,
                            [&](const Fix& fix) { return window_of(fix.time_s) <= window; })) {
      settle(aircraft);
    }
  }
}

void Recorder::Impl::settle(Aircraft& aircraft) {
  if (aircraft.track.held().empty()) return;
  aircraft.track.settle(rules);
  for (std::size_t i = 0; i < aircraft.track.held().size(); ++i) {
    const Fix fix = aircraft.track.held()[i];
    if (aircraft.track.agrees(i)) {
      store(aircraft, fix);
    } else {
      reject_fix(aircraft, fix, feed::Reject::impossible_speed);
    }
  }
  aircraft.track.clear_held();
}

// Makes room where addresses heard once, as garbling makes them, have filled the table.
void Recorder::Impl::purge() {
  if (purged_window == flights.closed_window()) return;
  purged_window = flights.closed_window();
  const double now_s = clock.now();
  table.remove_if([&](Aircraft& aircraft) {
    if (aircraft.n_reports > 1 || !aircraft.track.held().empty()) return false;
    if (now_s - aircraft.last_time_s < rules.stale_s) return false;
    flights.split(aircraft);
    return true;
  });
}

Aircraft* Recorder::Impl::aircraft_of(std::uint32_t address) {
  if (Aircraft* known = table.find(address)) return known;
  if (table.size() == AircraftTable::capacity) purge();
  return table.size() == AircraftTable::capacity ? nullptr : &table.add(address);
}

void Recorder::Impl::accept_in_time(const PlausibleReport& report, double time_s) {
  advance();
  if (coverage.was_recorded(time_s)) return counts.reject(feed::Reject::already_recorded);
  // Only in a hole of an earlier run's coverage, older than what is open.
  if (window_of(time_s) <= flights.closed_window()) return counts.reject(feed::Reject::stale);
  coverage.extend(time_s);
  const TrialSpan* trial = trials.find(time_s);
  if (trial == nullptr) return counts.reject(feed::Reject::no_trial);
  Aircraft* aircraft = aircraft_of(report.address());
  if (aircraft == nullptr) return counts.reject(feed::Reject::too_many_aircraft);

  aircraft->last_time_s = std::max(aircraft->last_time_s, time_s);
  ++aircraft->n_reports;
  const site::Place& place = report.place();
  if (aircraft->has_last && place.latitude_deg == aircraft->last_latitude_deg &&
      place.longitude_deg == aircraft->last_longitude_deg) {
    return counts.repeat();
  }
  aircraft->has_last = true;
  aircraft->last_latitude_deg = place.latitude_deg;
  aircraft->last_longitude_deg = place.longitude_deg;
  judge(*aircraft, {time_s, place, report.altitude_ft(), report.signal_dbfs(), report.has_signal(),
                    trial->trial});
}

void Recorder::Impl::judge(Aircraft& aircraft, const Fix& fix) {
  const bool is_beyond = is_beyond_horizon(fix.place, fix.altitude_ft, aircraft, viewpoint, rules);
  Track& track = aircraft.track;
  // Without a track, a place that can't be is no use for telling which fixes are wrong.
  if (is_beyond && !track.has_known()) {
    return reject_fix(aircraft, fix, feed::Reject::beyond_horizon);
  }
  const Track::Verdict verdict = track.judge(fix, rules, aircraft.is_unambiguous && !is_beyond);
  switch (verdict) {
    case Track::Verdict::believe:
      break;
    case Track::Verdict::new_track:
      flights.split(aircraft);
      [[fallthrough]];
    case Track::Verdict::believe_held:
      for (std::size_t i = 0; i < track.held().size(); ++i) {
        if (track.agrees(i)) {
          store(aircraft, track.held()[i]);
        } else {
          reject_fix(aircraft, track.held()[i], feed::Reject::impossible_speed);
        }
      }
      track.clear_held();
      break;
    case Track::Verdict::folded:
      return reject_fix(aircraft, fix, feed::Reject::folded);
    case Track::Verdict::hold:
      if (is_beyond) return reject_fix(aircraft, fix, feed::Reject::beyond_horizon);
      if (track.is_full()) {
        reject_fix(aircraft, track.take_oldest(), feed::Reject::impossible_speed);
      }
      return track.hold(fix);
  }
  if (is_beyond) return reject_fix(aircraft, fix, feed::Reject::beyond_horizon);
  store(aircraft, fix);
}

void Recorder::Impl::store(Aircraft& aircraft, const Fix& fix) {
  const TrialSpan* trial = trials.find(fix.time_s);
  if (trial == nullptr) return counts.reject(feed::Reject::no_trial);
  if (!flights.record(aircraft, fix, *trial)) {
    return counts.reject(feed::Reject::too_many_aircraft);
  }
  counts.stored();
}

void Recorder::Impl::reject_fix(const Aircraft& aircraft, const Fix& fix, feed::Reject reason) {
  flights.mark_heard(aircraft, fix.time_s);
  counts.reject(reason);
}

void Recorder::Impl::close() {
  if (!clock.is_running() && !held.empty()) {
    // Too few reports to confirm anything, and none that contradicts the latest of them.
    reject_held(std::min(clock.chain_length(), held.size()));
    for (const Held& one : std::exchange(held, {})) {
      clock.follow(one.time_s);
      accept_in_time(one.report, one.time_s);
    }
  }
  reject_held(0);
  for (Aircraft& aircraft : table) settle(aircraft);
  flights.end_all();
  table.remove_if([](const Aircraft&) { return true; });
  coverage.interrupt();
}

// --- Public ----------------------------------------------------------------------------------

Recorder::Recorder(Options options, const site::Viewpoint& viewpoint, FlightIds flight_ids)
    : impl_(std::make_unique<Impl>(std::move(options), viewpoint, std::move(flight_ids))) {}
Recorder::Recorder(Recorder&&) noexcept = default;
Recorder& Recorder::operator=(Recorder&&) noexcept = default;
Recorder::~Recorder() = default;

void Recorder::set_trials(std::vector<schema::Trial> trials) {
  const double now_s =
      impl_->clock.is_running() ? impl_->clock.newest() : -std::numeric_limits<double>::infinity();
  impl_->trials.set(trials, now_s);
  impl_->flights.set_trials(impl_->trials);
}

void Recorder::resume(std::span<const schema::Flight> open, std::span<const schema::Cell> tail) {
  double until_s = impl_->coverage.recorded_until();
  for (const schema::Cell& cell : tail) {
    if (until_s > 0) break;
    until_s = std::max(until_s, static_cast<double>((cell.window + 1) * schema::window_s));
  }
  // Two windows back, in case the clock then was not quite at the end of what was recorded: a
  // window closed twice gives the same cells again, one left out would lose its silent ones.
  impl_->flights.set_closed_window(window_of(until_s - impl_->rules.stale_s) - 4);
  for (const FlightLog::Resumed& one : impl_->flights.resume(open, tail, until_s)) {
    if (one.address == 0 || impl_->table.size() == AircraftTable::capacity) continue;
    Aircraft* aircraft = impl_->table.find(one.address);
    if (aircraft == nullptr) aircraft = &impl_->table.add(one.address);
    if (one.last.time_s < aircraft->last_time_s) {
      aircraft->previous = one.ref;
      continue;
    }
    aircraft->previous = std::exchange(aircraft->current, one.ref);
    aircraft->last_time_s = one.last.time_s;
    aircraft->n_reports = 2;
    aircraft->track.resume(one.last.place, one.last.time_s);
  }
}

void Recorder::accept(const feed::Report& report, double arrival_s) {
  const bool has_own_time = impl_->has_own_time(report);
  const double time_s = has_own_time ? *report.time_s : arrival_s;
  impl_->note_activity(time_s);
  const auto& key = impl_->rules.address_key;
  auto plausible = PlausibleReport::make(report);
  if (!plausible) {
    return impl_->reject(key ? hidden_address(*key, report.address) : report.address, time_s,
                         plausible.error());
  }
  if (key) plausible->hide_address(hidden_address(*key, report.address));
  const bool tells_offset = has_own_time && std::isfinite(arrival_s);
  impl_->accept(*plausible, time_s, tells_offset ? std::optional(arrival_s) : std::nullopt);
}

void Recorder::reject(feed::Reject reason, std::int64_t count) {
  assert(count >= 0);
  impl_->counts.reject(reason, count);
  if (count > 0 && impl_->clock.is_running()) {
    impl_->activity.heard(window_of(impl_->clock.newest()), impl_->clock.newest());
  }
}

void Recorder::interrupted() { impl_->coverage.interrupt(); }

schema::Batch Recorder::take() {
  schema::Batch batch;
  batch.feed = impl_->options.feed;
  impl_->flights.take(batch);
  impl_->counts.take(batch);
  batch.clock = std::exchange(impl_->newest, {});
  batch.coverage = std::exchange(impl_->rows, {});
  std::ranges::move(impl_->coverage.take_rows(impl_->trials.spans()),
                    std::back_inserter(batch.coverage));
  LiveCounts& live = impl_->counts.live();
  const site::GeoPoint& antenna = impl_->viewpoint.antenna();
  const site::Place here{antenna.latitude_deg(), antenna.longitude_deg()};
  for (const schema::Cell& cell : batch.cells) {
    if (cell.heard == 0) continue;
    // Most are not the farthest by far, which is told without a geodesic.
    if (site::are_within(here, {cell.latitude_deg, cell.longitude_deg},
                         live.farthest_km * (1 - site::most_spherical_error)))
      continue;
    const double range_km = impl_->viewpoint.over(cell.latitude_deg, cell.longitude_deg).range_km;
    live.farthest_km = std::max(live.farthest_km, range_km);
  }
  return batch;
}

std::size_t Recorder::n_untaken_cells() const { return impl_->flights.n_untaken_cells(); }

void Recorder::close() { impl_->close(); }

schema::Id Recorder::next_flight_id() const { return impl_->flights.next_id(); }

double Recorder::feed_time_s() const { return impl_->clock.now(); }

const LiveCounts& Recorder::live() const {
  LiveCounts& live = impl_->counts.live();
  live.feed_time_s = feed_time_s();
  live.aircraft =
      static_cast<std::size_t>(std::ranges::count_if(impl_->table, [&](const Aircraft& aircraft) {
        return aircraft.last_time_s >= live.feed_time_s - live_aircraft_s;
      }));
  return live;
}

}  // namespace roundel::record
