// Reports drawn one by one: every position message of every aircraft, on every trial.
#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/simulate/aircraft.h"
#include "analysis/simulate/feed_faults.h"
#include "analysis/simulate/numeric.h"
#include "analysis/simulate/receiver.h"
#include "analysis/simulate/run.h"

namespace roundel::simulate {
namespace {

using schema::window_s;

constexpr double least_gap_s = 0.4, most_gap_s = 0.6;
constexpr double faintest_margin_db = -25;  // with fading, less than one in a million gets through
constexpr double ducted_ratio = 1.05;

/// One aircraft on one trial.
struct ReportContact {
  ReportContact(const Run& run, std::uint64_t serial, std::size_t trial)
      : draws(run.scenario.seed, Purpose::reception, serial, trial),
        shadow(run.scenario.reception.own_shadow_sd_db, run.scenario.reception.shadow_s,
               Random(run.scenario.seed, Purpose::own_shadow, serial, trial)),
        faults(run.feed(trial), run.scenario.start_s, run.plane,
               Random(run.scenario.seed, Purpose::feed, serial, trial)) {}
  Random draws;
  Shadow shadow;
  PairMemory pairs;
  FeedFaults faults;
  double shadow_db = 0;
  enum class State { off, partly, on } state = State::off;  ///< recording in this window
};

struct ReportAircraft {
  ReportAircraft(const Run& run, Track its_track)
      : track(std::move(its_track)),
        squitters(run.scenario.seed, Purpose::squitters, track.serial),
        shadow(run.scenario.reception.shadow_sd_db, run.scenario.reception.shadow_s,
               Random(run.scenario.seed, Purpose::shadow, track.serial)),
        next_s(std::max(track.first_s(), run.scenario.start_s) +
               squitters.uniform(0, (least_gap_s + most_gap_s) / 2)) {
    contacts.reserve(run.stations.size());
    for (std::size_t i = 0; i < run.stations.size(); ++i)
      contacts.emplace_back(run, track.serial, i);
  }
  Track track;
  Flyer flyer;
  Random squitters;
  Shadow shadow;
  double next_s;  ///< of its next position message
  std::uint64_t n_sent = 0;
  std::vector<ReportContact> contacts;
  bool was_heard = false;
};

class ReportRun {
 public:
  ReportRun(Run& run, const ReportVisit& visit) : run_(run), visit_(visit) {}

  void go() {
    double time_s = run_.scenario.start_s;
    double tables_until_s = time_s;
    bool is_wanted = true;
    while (is_wanted && time_s < run_.end_s()) {
      if (time_s >= tables_until_s) tables_until_s = run_.update(time_s);
      const double next_s = std::min(run_.end_s(), (std::floor(time_s / window_s) + 1) * window_s);
      enter(next_s);
      for (ReportAircraft& aircraft : flying_) fly(aircraft, time_s, next_s);
      std::erase_if(flying_, [&](const ReportAircraft& aircraft) {
        const bool has_left = aircraft.track.last_s() <= next_s;
        if (has_left) note(aircraft);
        return has_left;
      });
      is_wanted = give_out(next_s);
      time_s = next_s;
    }
    for (const ReportAircraft& aircraft : flying_) note(aircraft);
    if (is_wanted) give_out(std::numeric_limits<double>::infinity());
  }

 private:
  void enter(double before_s) {
    std::vector<Track> starting;
    run_.traffic->starting_before(before_s, starting);
    for (Track& track : starting)
      if (track.last_s() > run_.scenario.start_s) flying_.emplace_back(run_, std::move(track));
  }

  void note(const ReportAircraft& aircraft) {
    if (aircraft.was_heard) run_.truth.flights.push_back(run_.describe(aircraft.track));
  }

  void fly(ReportAircraft& aircraft, double from_s, double to_s) {
    const double lo = std::max(from_s, aircraft.track.first_s());
    const double hi = std::min(to_s, aircraft.track.last_s());
    if (lo >= hi) return;
    const double shadow_db = aircraft.shadow.next_db();
    for (std::size_t i = 0; i < aircraft.contacts.size(); ++i) {
      ReportContact& contact = aircraft.contacts[i];
      contact.shadow_db = contact.shadow.next_db();
      const double recorded_s = run_.recorded_s(i, lo, hi);
      contact.state = recorded_s <= 0         ? ReportContact::State::off
                      : recorded_s >= hi - lo ? ReportContact::State::on
                                              : ReportContact::State::partly;
    }
    while (aircraft.next_s < hi) {
      squitter(aircraft, aircraft.next_s, shadow_db);
      const double apart_s = aircraft.squitters.uniform(least_gap_s, most_gap_s);
      aircraft.next_s += aircraft.track.is_half_rate ? 2 * apart_s : apart_s;
      ++aircraft.n_sent;
    }
  }

  void squitter(ReportAircraft& aircraft, double time_s, double shadow_db) {
    const Flying now = aircraft.flyer.at(aircraft.track, time_s);
    const auto told = told_place(run_.scenario, time_s, now.place);
    if (!told) return;
    const Sight sight = run_.plane.sight(now.place, now.altitude_ft);
    double common_db = run_.surroundings.common_db(aircraft.track, now, sight) + shadow_db;
    if (aircraft.track.has_two_antennas && aircraft.n_sent % 2 == 1)
      common_db -= upper_loss_db(run_.scenario.aircraft, sight.elevation_deg);
    // Each antenna sends even and odd positions by turns.
    const bool is_odd = aircraft.n_sent / (aircraft.track.has_two_antennas ? 2 : 1) % 2 == 1;
    bool has_position = false;
    Report report;
    for (std::size_t i = 0; i < aircraft.contacts.size(); ++i) {
      ReportContact& contact = aircraft.contacts[i];
      if (contact.state == ReportContact::State::off ||
          (contact.state == ReportContact::State::partly &&
           run_.recorded_s(i, time_s, time_s + 0.001) <= 0))
        continue;
      ++run_.truth.trials[i].sent;
      report.signal_dbfs.reset();
      const bool is_heard = hear(i, contact, common_db, sight, time_s, report) &&
                            contact.pairs.knows(run_.stations[i].receiver(), time_s, is_odd);
      if (!is_heard && !contact.faults.prints_unheard()) continue;
      if (!has_position) {
        const Position position = run_.plane.position(*told);
        report.address = aircraft.track.address;
        report.latitude_deg = static_cast<double>(whole(position.latitude_deg * 1e5)) / 1e5;
        report.longitude_deg = static_cast<double>(whole(position.longitude_deg * 1e5)) / 1e5;
        report.altitude_ft = static_cast<double>(whole(now.altitude_ft / 25)) * 25;
        has_position = true;
      }
      const std::size_t feed = run_.feed_of[i];
      FeedTruth& feed_truth = run_.truth.feeds[feed];
      if (!is_heard) {
        contact.faults.print_unheard(feed, report, time_s, sight.bearing_deg, feed_truth, waiting_);
        continue;
      }
      aircraft.was_heard = true;
      if (sight.elevation_deg < run_.plane.horizon_elevation_deg() &&
          sight.range_km > ducted_ratio * run_.plane.horizon_km(sight, now.altitude_ft))
        ++feed_truth.beyond_horizon;
      contact.faults.print(feed, report, time_s, sight, feed_truth, waiting_);
    }
  }

  /// Whether a message gets through, and the level that is shown for it.
  bool hear(std::size_t trial, ReportContact& contact, double common_db, const Sight& sight,
            double time_s, Report& report) {
    const Station& station = run_.stations[trial];
    const Receiver& receiver = station.receiver();
    const Reception& reception = run_.scenario.reception;
    double margin_db = common_db + contact.shadow_db + station.gain_db(sight);
    if (margin_db < faintest_margin_db) return false;
    margin_db += reception.fading_sd_db * contact.draws.normal();
    const double clear_db = margin_db - burst_loss_db(receiver, run_.scenario.seed, time_s);
    const double share = run_.surroundings.clear_share(clear_db) *
                         decoded_share(reception.threshold, clear_db / reception.softness_db) *
                         not_deafened(receiver, margin_db);
    if (!contact.draws.chance(share)) return false;
    ++run_.truth.trials[trial].heard;
    if (receiver.has_level) {
      const double shown =
          station.shown_dbfs(margin_db, receiver.level_noise_db * contact.draws.bell());
      report.signal_dbfs = static_cast<double>(whole(shown * 10)) / 10;
    }
    return true;
  }

  /// Calls the visitor for all lines printed before a time, in order; false when it wants no more.
  bool give_out(double before_s) {
    // Equal times: by feed, then as they came, which is by aircraft.
    std::stable_sort(waiting_.begin(), waiting_.end(), [](const Print& a, const Print& b) {
      return std::pair(a.print_s, a.feed) < std::pair(b.print_s, b.feed);
    });
    auto print = waiting_.begin();
    bool is_wanted = true;
    for (; is_wanted && print != waiting_.end() && print->print_s < before_s; ++print)
      is_wanted = visit_(print->feed, print->report);
    waiting_.erase(waiting_.begin(), print);
    return is_wanted;
  }

  Run& run_;
  const ReportVisit& visit_;
  std::vector<ReportAircraft> flying_;
  std::vector<Print> waiting_;
};

}  // namespace

Result<Truth> reports(const Scenario& scenario, const ReportVisit& visit) {
  auto run = Run::make(scenario);
  if (!run) return tl::unexpected(run.error());
  ReportRun(**run, visit).go();
  return std::move((*run)->truth);
}

}  // namespace roundel::simulate
