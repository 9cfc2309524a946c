// Cells drawn directly: one binomial count for each aircraft, window and trial.
#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/simulate/aircraft.h"
#include "analysis/simulate/numeric.h"
#include "analysis/simulate/receiver.h"
#include "analysis/simulate/run.h"

namespace roundel::simulate {
namespace {

using schema::Cell;
using schema::window_s;

constexpr std::int64_t bridge_windows = 300 / window_s;
constexpr std::int64_t break_windows = 1800 / window_s;
constexpr double gap_s = 0.5;  // mean time between position messages
constexpr double faintest_chance = 1e-5;

/// As the store keeps it.
Cell rounded(Cell cell) {
  cell.latitude_deg = static_cast<double>(whole(cell.latitude_deg * 1e4)) / 1e4;
  cell.longitude_deg = static_cast<double>(whole(cell.longitude_deg * 1e4)) / 1e4;
  cell.altitude_ft = static_cast<double>(whole(cell.altitude_ft / 25)) * 25;
  if (cell.signal_dbfs) cell.signal_dbfs = static_cast<double>(whole(*cell.signal_dbfs * 2)) / 2;
  return cell;
}

/// Of messages that are by turns of two kinds, the second `off_db` against the first.
ChanceTable::Chance mixed(const ChanceTable::Chance& a, ChanceTable::Chance b, double off_db) {
  b.fading_mean_db += off_db;
  const double share = a.share + b.share;
  if (share == 0) return a;
  const auto mean = [&](double of_a, double of_b) {
    return (a.share * of_a + b.share * of_b) / share;
  };
  const auto square = [](const ChanceTable::Chance& c) {
    return c.fading_sd_db * c.fading_sd_db + c.fading_mean_db * c.fading_mean_db;
  };
  const double mean_db = mean(a.fading_mean_db, b.fading_mean_db);
  return {share / 2, mean_db,
          std::sqrt(std::max(0.0, mean(square(a), square(b)) - mean_db * mean_db))};
}

/// One aircraft on one trial.
struct Contact {
  Contact(const Scenario& scenario, std::uint64_t serial, std::size_t trial)
      : draws(scenario.seed, Purpose::reception, serial, trial),
        shadow(scenario.reception.own_shadow_sd_db, scenario.reception.shadow_s,
               Random(scenario.seed, Purpose::own_shadow, serial, trial)) {}
  Random draws;
  Shadow shadow;
  bool is_open = false;
  Cell pending;  ///< the last heard one, not given out yet
};

struct Aircraft {
  Aircraft(const Scenario& scenario, Track its_track)
      : track(std::move(its_track)),
        squitters(scenario.seed, Purpose::squitters, track.serial),
        shadow(scenario.reception.shadow_sd_db, scenario.reception.shadow_s,
               Random(scenario.seed, Purpose::shadow, track.serial)) {
    contacts.reserve(scenario.trials.size());
    for (std::size_t i = 0; i < scenario.trials.size(); ++i)
      contacts.emplace_back(scenario, track.serial, i);
  }
  Track track;
  Flyer flyer;
  Random squitters;
  Shadow shadow;
  std::vector<Contact> contacts;
  bool was_heard = false;
};

class CellRun {
 public:
  CellRun(Run& run, const CellVisit& visit) : run_(run), visit_(visit) {}

  void go() {
    double time_s = run_.scenario.start_s;
    while (time_s < run_.end_s()) {
      const double next_s = run_.update(time_s);
      // The end of the scenario may stand within a window; every other limit is a window's start.
      const auto from = static_cast<std::int64_t>(std::floor(time_s / window_s));
      const auto to = static_cast<std::int64_t>(std::ceil(next_s / window_s));
      enter(next_s);
      for (Aircraft& aircraft : flying_) fly(aircraft, from, to);
      leave(next_s);
      give_out(settled(to));
      time_s = next_s;
    }
    for (Aircraft& aircraft : flying_) finish(aircraft);
    give_out(std::numeric_limits<std::int64_t>::max());
  }

  std::vector<schema::Flight> take_flights() { return std::move(flights_); }

 private:
  struct Waiting {
    std::size_t trial;
    Cell cell;
  };

  void enter(double before_s) {
    std::vector<Track> starting;
    run_.traffic->starting_before(before_s, starting);
    for (Track& track : starting)
      if (track.last_s() > run_.scenario.start_s)
        flying_.emplace_back(run_.scenario, std::move(track));
  }

  void leave(double before_s) {
    std::erase_if(flying_, [&](Aircraft& aircraft) {
      if (aircraft.track.last_s() > before_s) return false;
      finish(aircraft);
      return true;
    });
  }

  void finish(Aircraft& aircraft) {
    for (std::size_t i = 0; i < aircraft.contacts.size(); ++i) close(aircraft.contacts[i], i);
    if (aircraft.was_heard) run_.truth.flights.push_back(run_.describe(aircraft.track));
  }

  void fly(Aircraft& aircraft, std::int64_t from, std::int64_t to) {
    const Track& track = aircraft.track;
    from = std::max(from, static_cast<std::int64_t>(std::floor(track.first_s() / window_s)));
    to = std::min(to, static_cast<std::int64_t>(std::ceil(track.last_s() / window_s)));
    for (std::int64_t window = from; window < to; ++window) {
      const double start_s = static_cast<double>(window) * window_s;
      const double lo = std::max({start_s, track.first_s(), run_.scenario.start_s});
      const double hi = std::min({start_s + window_s, track.last_s(), run_.end_s()});
      const double shadow_db = aircraft.shadow.next_db();
      // As many as fall into the time: the count's spread is that of a renewal process with gaps
      // of 0.4 to 0.6 s, variance 0.0267 a second, and of where the first one falls.
      const double spread = aircraft.squitters.bell() * std::sqrt(0.0267 * (hi - lo));
      const double turn = aircraft.squitters.uniform();
      const Flying now = aircraft.flyer.at(track, (lo + hi) / 2);
      const Sight sight = run_.plane.sight(now.place, now.altitude_ft);
      const double common_db = run_.surroundings.common_db(track, now, sight) + shadow_db;
      Position position;
      bool has_position = false;
      for (std::size_t i = 0; i < run_.stations.size(); ++i) {
        Contact& contact = aircraft.contacts[i];
        const double own_db = contact.shadow.next_db();
        const double duration_s = run_.recorded_s(i, lo, hi);
        if (duration_s <= 0) continue;
        const double gaps_s = track.is_half_rate ? 2 * gap_s : gap_s;
        const int sent = std::max(0, static_cast<int>(duration_s / gaps_s + spread + turn));
        const double margin_db = common_db + own_db + run_.stations[i].gain_db(sight);
        ChanceTable::Chance chance = run_.chances.at(margin_db, run_.surroundings);
        const Receiver& receiver = run_.stations[i].receiver();
        if (track.has_two_antennas) {
          const double loss_db = upper_loss_db(run_.scenario.aircraft, sight.elevation_deg);
          chance = mixed(chance, run_.chances.at(margin_db - loss_db, run_.surroundings), -loss_db);
        }
        if (receiver.burst_share > 0)
          chance.share += receiver.burst_share *
                          (run_.chances.at(margin_db - receiver.burst_db, run_.surroundings).share -
                           chance.share);
        chance.share *= not_deafened(receiver, margin_db);
        run_.truth.trials[i].sent += sent;
        const int heard = hear(contact, i, sight, chance, duration_s, sent);
        if (heard == 0) continue;
        aircraft.was_heard = true;
        if (!has_position) position = run_.plane.position(now.place);
        has_position = true;
        Cell cell;
        cell.window = window;
        cell.heard = heard;
        cell.expected = std::max(1, expected(i, window));
        cell.latitude_deg = position.latitude_deg;
        cell.longitude_deg = position.longitude_deg;
        cell.altitude_ft = now.altitude_ft;
        if (receiver.has_level) {
          const double sd = std::sqrt((chance.fading_sd_db * chance.fading_sd_db +
                                       receiver.level_noise_db * receiver.level_noise_db) /
                                      heard);
          cell.signal_dbfs = run_.stations[i].shown_dbfs(
              margin_db, chance.fading_mean_db + sd * contact.draws.normal());
        }
        contact_made(aircraft, contact, i, rounded(cell));
      }
    }
  }

  /// How many reports of the window a recorder would count.
  int hear(Contact& contact, std::size_t trial, const Sight& sight,
           const ChanceTable::Chance& chance, double duration_s, int sent) {
    const FeedPlan& feed = run_.feed(trial);
    const double share = chance.share;
    if (share < faintest_chance) return 0;
    int heard = contact.draws.binomial(sent, share);
    run_.truth.trials[trial].heard += heard;
    if (heard == 0) return 0;
    if (feed.throttled) {
      // At most one a second, of two messages sent in it: so many of the seconds had one.
      const int seconds = static_cast<int>(duration_s + 0.5);
      const double both_lost = (1 - share) * (1 - share);
      heard = std::min(heard, contact.draws.binomial(std::min(seconds, sent), 1 - both_lost));
    }
    double rejected = feed.wild_share + feed.ghost_share + feed.no_altitude_share;
    constexpr double local_decoding_km = 180 * 1.852;
    if (sight.range_km > local_decoding_km) rejected += feed.fold_share;
    if (rejected > 0) heard -= contact.draws.binomial(heard, std::min(1.0, rejected));
    return heard;
  }

  void contact_made(const Aircraft& aircraft, Contact& contact, std::size_t trial, Cell cell) {
    if (contact.is_open && cell.window - contact.pending.window > break_windows)
      close(contact, trial);
    if (!contact.is_open) {
      schema::Flight flight;
      flight.id = static_cast<schema::Id>(flights_.size()) + 1;
      flight.trial = run_.truth.trials[trial].trial.id;
      flight.address = aircraft.track.address;
      flight.first_window = cell.window;
      flights_.push_back(flight);
      contact.is_open = true;
      cell.flight = flight.id;
    } else {
      cell.flight = contact.pending.flight;
      if (cell.window - contact.pending.window <= bridge_windows)
        bridge(contact.pending, cell, trial);
      waiting_.push_back({trial, contact.pending});
    }
    contact.pending = cell;
  }

  /// Chances in what the trial records of a window.
  int expected(std::size_t trial, std::int64_t window) const {
    const double start_s = static_cast<double>(window) * window_s;
    const double share = run_.recorded_s(trial, start_s, start_s + window_s) / window_s;
    return static_cast<int>(whole(share * schema::chances_per_window));
  }

  void bridge(const Cell& from, const Cell& to, std::size_t trial) {
    const auto gap = static_cast<double>(to.window - from.window);
    const double turn = wrap_360(to.longitude_deg - from.longitude_deg + 180) - 180;
    for (std::int64_t window = from.window + 1; window < to.window; ++window) {
      const double f = static_cast<double>(window - from.window) / gap;
      Cell silent;
      silent.window = window;
      silent.flight = from.flight;
      silent.expected = expected(trial, window);
      if (silent.expected == 0) continue;
      silent.latitude_deg = from.latitude_deg + f * (to.latitude_deg - from.latitude_deg);
      silent.longitude_deg = wrap_360(from.longitude_deg + f * turn + 180) - 180;
      silent.altitude_ft = from.altitude_ft + f * (to.altitude_ft - from.altitude_ft);
      waiting_.push_back({trial, rounded(silent)});
    }
  }

  void close(Contact& contact, std::size_t trial) {
    if (!contact.is_open) return;
    const Cell& last = contact.pending;
    waiting_.push_back({trial, last});
    flights_[static_cast<std::size_t>(last.flight - 1)].last_window = last.window;
    contact.is_open = false;
  }

  /// No cell before this window is still to come.
  std::int64_t settled(std::int64_t now) {
    std::int64_t window = now;
    for (Aircraft& aircraft : flying_) {
      for (std::size_t i = 0; i < aircraft.contacts.size(); ++i) {
        Contact& contact = aircraft.contacts[i];
        if (!contact.is_open) continue;
        if (now - contact.pending.window > break_windows)
          close(contact, i);
        else
          window = std::min(window, contact.pending.window);
      }
    }
    return window;
  }

  /// Calls the visitor for all waiting cells before a window, in order.
  void give_out(std::int64_t before) {
    // A counting sort by window; within a window cells come nearly in order of flight already.
    constexpr auto none = std::numeric_limits<std::int64_t>::max();
    std::int64_t first = none, last = -1;
    for (const Waiting& w : waiting_) {
      if (w.cell.window >= before) continue;
      first = std::min(first, w.cell.window);
      last = std::max(last, w.cell.window);
    }
    if (last < first) return;
    std::vector<std::uint32_t> ends(static_cast<std::size_t>(last - first) + 2);
    for (const Waiting& w : waiting_)
      if (w.cell.window < before) ++ends[static_cast<std::size_t>(w.cell.window - first) + 1];
    for (std::size_t i = 1; i < ends.size(); ++i) ends[i] += ends[i - 1];
    std::vector<std::uint32_t> order(ends.back());
    std::vector<Waiting> later;
    for (std::uint32_t i = 0; i < waiting_.size(); ++i) {
      const Cell& cell = waiting_[i].cell;
      if (cell.window < before)
        order[ends[static_cast<std::size_t>(cell.window - first)]++] = i;
      else
        later.push_back(waiting_[i]);
    }
    // Each end now stands at the end of its window's cells.
    const auto by_flight = [&](std::uint32_t a, std::uint32_t b) {
      return waiting_[a].cell.flight < waiting_[b].cell.flight;
    };
    for (std::size_t i = 0, begin = 0; i + 1 < ends.size(); begin = ends[i++])
      std::sort(order.begin() + static_cast<std::ptrdiff_t>(begin), order.begin() + ends[i],
                by_flight);
    for (const std::uint32_t i : order) {
      const Waiting& w = waiting_[i];
      visit_(w.trial, flights_[static_cast<std::size_t>(w.cell.flight - 1)], w.cell);
    }
    waiting_ = std::move(later);
  }

  Run& run_;
  const CellVisit& visit_;
  std::vector<Aircraft> flying_;
  std::vector<schema::Flight> flights_;
  std::vector<Waiting> waiting_;
};

}  // namespace

Result<Truth> cells(const Scenario& scenario, const CellVisit& visit,
                    std::vector<schema::Flight>* flights) {
  auto run = Run::make(scenario);
  if (!run) return tl::unexpected(run.error());
  CellRun cell_run(**run, visit);
  cell_run.go();
  if (flights != nullptr) *flights = cell_run.take_flights();
  return std::move((*run)->truth);
}

Result<CellSet> cells(const Scenario& scenario) {
  CellSet set;
  auto truth = cells(
      scenario,
      [&](std::size_t, const schema::Flight&, const Cell& cell) { set.cells.push_back(cell); },
      &set.flights);
  if (!truth) return tl::unexpected(truth.error());
  set.truth = *std::move(truth);
  for (const TrialTruth& trial : set.truth.trials) set.trials.push_back(trial.trial);
  return set;
}

}  // namespace roundel::simulate
