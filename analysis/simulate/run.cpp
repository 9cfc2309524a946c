#include "analysis/simulate/run.h"

#include <algorithm>
#include <cmath>

#include "analysis/simulate/aircraft.h"
#include "analysis/simulate/numeric.h"

namespace roundel::simulate {
namespace {

/// Mean over bearings and over the antennas of the fleet, in dB.
std::array<double, TrialTruth::n_elevations> elevation_over_dipole(const Scenario& s,
                                                                   const Station& station) {
  const ElevationGain dipole{ElevationShape{}};
  std::array<double, TrialTruth::n_elevations> out{};
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double elevation_deg = TrialTruth::elevation_deg(i);
    for (int bearing_deg = 0; bearing_deg < 360; ++bearing_deg) {
      const SinCos bearing = sin_cos(bearing_deg * degree);
      out[i] += station.elevation_db(elevation_deg, bearing.sin, bearing.cos) / 360;
    }
    out[i] -= dipole.at(elevation_deg) +
              s.aircraft.two_antennas_share * upper_loss_db(s.aircraft, elevation_deg) / 2;
  }
  return out;
}

}  // namespace

Run::Run(Scenario ready)
    : scenario(std::move(ready)),
      plane(scenario.site, scenario.reception.earth_factor),
      surroundings(scenario, plane),
      chances(scenario.reception) {}

Result<std::unique_ptr<Run>> Run::make(const Scenario& scenario) {
  auto ready = completed(scenario);
  if (!ready) return tl::unexpected(ready.error());
  std::unique_ptr<Run> run(new Run(*std::move(ready)));
  const Scenario& s = run->scenario;
  run->truth.scenario = s;
  for (const FeedPlan& feed : s.feeds) run->truth.feeds.emplace_back().name = feed.name;
  for (std::size_t i = 0; i < s.trials.size(); ++i) {
    auto station = Station::make(s, i);
    if (!station) return tl::unexpected(station.error());
    const TrialPlan& plan = s.trials[i];
    const auto feed = std::find_if(s.feeds.begin(), s.feeds.end(),
                                   [&](const FeedPlan& f) { return f.name == plan.feed; });
    run->feed_of.push_back(static_cast<std::size_t>(feed - s.feeds.begin()));

    TrialTruth truth;
    truth.trial = {static_cast<schema::Id>(i) + 1,
                   plan.feed,
                   plan.antenna,
                   plan.receiver,
                   plan.mount,
                   plan.rotation_deg,
                   static_cast<std::int64_t>(std::ceil(station->start_s())),
                   static_cast<std::int64_t>(std::ceil(station->stop_s())),
                   {}};
    const double mean = station->azimuth().mean_db();
    const double antenna_mean = station->antenna().mean_db();
    const double mount_mean = station->mount().mean_db();
    for (std::size_t k = 0; k < 360; ++k) {
      const double bearing = static_cast<double>(k);
      truth.pattern_db[k] = station->azimuth().at(bearing) - mean;
      truth.antenna_db[k] = station->antenna().at(bearing) - antenna_mean;
      truth.mount_db[k] = station->mount().at(bearing) - mount_mean;
    }
    truth.mean_db = mean + station->fixed_db();
    truth.elevation_db = elevation_over_dipole(s, *station);
    run->truth.trials.push_back(std::move(truth));
    run->stations.push_back(*std::move(station));
  }
  run->surroundings.update(run->end_s() - schema::window_s);
  for (std::size_t k = 0; k < 360; ++k)
    run->truth.mask_deg[k] = std::max(0.0, run->surroundings.wall_deg(static_cast<double>(k)));
  auto traffic = TrafficSource::make(s, run->plane);
  if (!traffic) return tl::unexpected(traffic.error());
  run->traffic = *std::move(traffic);
  return run;
}

double Run::update(double time_s) {
  surroundings.update(time_s);
  for (Station& station : stations) station.update(time_s);
  return std::min(end_s(), surroundings.next_change_s(time_s));
}

double Run::recorded_s(std::size_t trial, double from_s, double to_s) const {
  const double from = std::max(from_s, stations[trial].start_s());
  const double to = std::min(to_s, stations[trial].stop_s());
  if (from >= to) return 0;
  double recorded = to - from;
  for (const Outage& outage : feed(trial).outages) {
    const double off_s = std::max(from, scenario.start_s + outage.from_h * 3600);
    const double on_s = std::min(to, scenario.start_s + outage.to_h * 3600);
    recorded -= std::max(0.0, on_s - off_s);
  }
  return std::max(0.0, recorded);
}

FlightTruth Run::describe(const Track& track) const {
  return {track.address, track.first_s(), track.last_s(), track.power_db,
          scenario.types[track.type].name};
}

}  // namespace roundel::simulate
