#include "analysis/simulate/reception.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/simulate/air.h"
#include "analysis/simulate/aircraft.h"
#include "analysis/simulate/numeric.h"
#include "analysis/simulate/receiver.h"

namespace roundel::simulate {
namespace {

constexpr double never_s = std::numeric_limits<double>::infinity();
constexpr double least_margin_db = -25, most_margin_db = 25, step_db = 0.1;
constexpr double usual_level_dbm = -82;  // of an average aircraft at 200 km

/// Calls with each slot whose middle lies between two bearings.
template <class Do>
void each_slot(double from_deg, double to_deg, const Do& visit) {
  for (std::size_t slot = 0; slot < slots; ++slot) {
    const double middle = (static_cast<double>(slot) + 0.5) / AzimuthGain::per_degree;
    if (lies_between(middle, from_deg, to_deg)) visit(slot);
  }
}

}  // namespace

double change_s(const Scenario& scenario, double hour) {
  return std::ceil((scenario.start_s + hour * 3600) / schema::window_s) * schema::window_s;
}

Surroundings::Surroundings(const Scenario& scenario, const Plane& plane)
    : scenario_(scenario), horizon_deg_(plane.horizon_elevation_deg()) {
  const auto add = [&](double hour) { changes_s_.push_back(change_s(scenario, hour)); };
  for (const Wall& wall : scenario.walls) {
    add(wall.start_h);
    if (wall.stop_h) add(*wall.stop_h);
  }
  for (const Obstacle& obstacle : scenario.obstacles) {
    add(obstacle.start_h);
    if (obstacle.stop_h) add(*obstacle.stop_h);
  }
  for (const Duct& duct : scenario.ducts) add(duct.from_h), add(duct.to_h);
  for (const Step& step : scenario.steps) add(step.at_h);
  std::sort(changes_s_.begin(), changes_s_.end());
  for (const Reflection& reflection : scenario.reflections)
    each_slot(reflection.from_deg, reflection.to_deg,
              [&](std::size_t slot) { reflections_[slot] = &reflection; });
}

double Surroundings::next_change_s(double time_s) const {
  const double hour_s = (std::floor(time_s / 3600) + 1) * 3600;
  const auto next = std::upper_bound(changes_s_.begin(), changes_s_.end(), time_s);
  return next == changes_s_.end() ? hour_s : std::min(hour_s, *next);
}

void Surroundings::update(double time_s) {
  const auto in_force = [&](double from_h, std::optional<double> to_h) {
    return time_s >= change_s(scenario_, from_h) && (!to_h || time_s < change_s(scenario_, *to_h));
  };
  walls_.fill({});
  obstacle_db_.fill(0);
  beyond_share_.fill(1);
  for (const Wall& wall : scenario_.walls) {
    if (!in_force(wall.start_h, wall.stop_h)) continue;
    each_slot(wall.from_deg, wall.to_deg, [&](std::size_t slot) {
      if (wall.elevation_deg > walls_[slot].elevation_deg)
        walls_[slot] = {wall.elevation_deg, wall.soft_deg};
    });
  }
  for (const Obstacle& obstacle : scenario_.obstacles) {
    if (!in_force(obstacle.start_h, obstacle.stop_h)) continue;
    each_slot(obstacle.from_deg, obstacle.to_deg,
              [&](std::size_t slot) { obstacle_db_[slot] += obstacle.loss_db; });
  }
  for (const Duct& duct : scenario_.ducts) {
    if (!in_force(duct.from_h, duct.to_h)) continue;
    each_slot(duct.from_deg, duct.to_deg,
              [&](std::size_t slot) { beyond_share_[slot] = duct.loss_share; });
  }
  const Reception& reception = scenario_.reception;
  double luck = 1;
  if (reception.message_loss_spread > 0) {
    const auto hour = static_cast<std::uint64_t>(time_s / 3600);
    luck = exp_of(reception.message_loss_spread *
                  Random(scenario_.seed, Purpose::ceiling, hour).normal());
  }
  lost_share_ = reception.message_loss * hourly_factor(scenario_.traffic, time_s) * luck;
}

double Surroundings::common_db(const Track& track, const Flying& flying, const Sight& sight) const {
  double db = scenario_.reception.margin_db + track.power_db -
              decibels(std::max(sight.slant_km, 0.05) / 200) +
              aspect_db(scenario_.types[track.type], flying, sight);
  const std::size_t slot = slot_of(sight.bearing_deg);
  db -= obstacle_db_[slot];
  db -= beyond_share_[slot] *
        edge_loss_db((horizon_deg_ - sight.elevation_deg) / scenario_.reception.horizon_soft_deg);
  const Edge& wall = walls_[slot];
  if (wall.elevation_deg > -90)
    db -= edge_loss_db((wall.elevation_deg - sight.elevation_deg) / wall.soft_deg);
  if (reflections_[slot] != nullptr) db += reflection_db(*reflections_[slot], sight.elevation_deg);
  return db;
}

Result<Station> Station::make(const Scenario& scenario, std::size_t trial) {
  const auto named = [](const auto& list, const std::string& name) -> const auto* {
    for (const auto& item : list)
      if (item.name == name) return &item;
    return static_cast<decltype(&list.front())>(nullptr);
  };
  Station station;
  station.scenario_ = &scenario;
  station.plan_ = &scenario.trials[trial];
  const Antenna* antenna = named(scenario.antennas, station.plan_->antenna);
  const Mount* mount = named(scenario.mounts, station.plan_->mount);
  station.receiver_ = named(scenario.receivers, station.plan_->receiver);
  if (antenna == nullptr || mount == nullptr || station.receiver_ == nullptr)
    return fail(Errc::bad_config, "a trial names equipment that the scenario does not have");
  auto antenna_gain = AzimuthGain::make(antenna->azimuth);
  if (!antenna_gain) return tl::unexpected(antenna_gain.error());
  auto mount_gain = AzimuthGain::make(mount->azimuth);
  if (!mount_gain) return tl::unexpected(mount_gain.error());
  station.antenna_ = *antenna_gain;
  station.mount_ = *mount_gain;
  station.azimuth_ = antenna_gain->turned_plus(station.plan_->rotation_deg, *mount_gain);
  station.elevation_ = ElevationGain(antenna->elevation);
  station.fixed_db_ = antenna->gain_db + station.receiver_->offset_db;
  if (station.receiver_->sensitivity_dbm)
    station.fixed_db_ +=
        usual_level_dbm - *station.receiver_->sensitivity_dbm - scenario.reception.margin_db;
  const SinCos towards = sin_cos(mount->lean_towards_deg * degree);
  station.lean_east_deg_ = mount->lean_deg * towards.sin;
  station.lean_north_deg_ = mount->lean_deg * towards.cos;
  const double end_s = scenario.start_s + scenario.hours * 3600;
  station.start_s_ = scenario.start_s + station.plan_->start_h * 3600;
  station.stop_s_ = station.plan_->stop_h
                        ? std::min(end_s, scenario.start_s + *station.plan_->stop_h * 3600)
                        : end_s;
  return station;
}

void Station::update(double time_s) {
  double everywhere_db =
      fixed_db_ + hourly_change_db(*receiver_, time_s, hourly_factor(scenario_->traffic, time_s));
  for (const Drift& drift : scenario_->drifts) {
    if (!drift.feed.empty() && drift.feed != plan_->feed) continue;
    const double from_s = scenario_->start_s + drift.from_h * 3600;
    const double to_s = drift.to_h ? scenario_->start_s + *drift.to_h * 3600 : never_s;
    everywhere_db += drift.db_per_day * std::max(0.0, std::min(time_s, to_s) - from_s) / 86400;
  }
  change_db_.fill(everywhere_db);
  for (const Step& step : scenario_->steps) {
    if (!step.feed.empty() && step.feed != plan_->feed) continue;
    if (time_s < change_s(*scenario_, step.at_h)) continue;
    each_slot(step.from_deg, step.to_deg,
              [&](std::size_t slot) { change_db_[slot] += step.step_db; });
  }
}

double Station::shown_dbfs(double margin_db, double noise_db) const {
  double level = receiver_->threshold_dbfs + margin_db + noise_db;
  if (level > receiver_->compress_from_dbfs)
    level = receiver_->compress_from_dbfs + (level - receiver_->compress_from_dbfs) / 2;
  return std::min(level, receiver_->full_scale_dbfs);
}

Shadow::Shadow(double sd_db, double time_constant_s, Random random)
    : sd_db_(sd_db),
      keep_(exp_of(-schema::window_s / time_constant_s)),
      fresh_(std::sqrt(1 - keep_ * keep_)),
      random_(random) {}

double Shadow::next_db() {
  if (sd_db_ == 0) return 0;
  value_ = has_value_ ? keep_ * value_ + fresh_ * random_.bell() : random_.normal();
  has_value_ = true;
  return sd_db_ * value_;
}

ChanceTable::ChanceTable(const Reception& reception) {
  // Trapezoids over +-6 standard deviations: exact to far more digits than a count can show.
  constexpr int half_nodes = 24;
  std::array<double, 2 * half_nodes + 1> weight{};
  double total = 0;
  for (int i = -half_nodes; i <= half_nodes; ++i) {
    const double z = 0.25 * i;
    total += weight[static_cast<std::size_t>(i + half_nodes)] = exp_of(-z * z / 2);
  }
  const int n_rows = static_cast<int>((most_margin_db - least_margin_db) / step_db + 1.5);
  for (int row = 0; row < n_rows; ++row) {
    const double margin = least_margin_db + row * step_db;
    double share = 0, first = 0, second = 0;
    for (int i = -half_nodes; i <= half_nodes; ++i) {
      const double fading = reception.fading_sd_db * 0.25 * i;
      const double part =
          weight[static_cast<std::size_t>(i + half_nodes)] / total *
          decoded_share(reception.threshold, (margin + fading) / reception.softness_db);
      share += part;
      first += part * fading;
      second += part * fading * fading;
    }
    const double mean = share > 0 ? first / share : 0;
    const double variance = share > 0 ? second / share - mean * mean : 0;
    rows_.push_back({share, mean, std::sqrt(std::max(0.0, variance))});
  }
}

ChanceTable::Chance ChanceTable::at(double margin_db) const {
  if (margin_db <= least_margin_db) return {};
  const double x =
      std::min((margin_db - least_margin_db) / step_db, static_cast<double>(rows_.size()) - 1.001);
  const auto i = static_cast<std::size_t>(x);
  const double f = x - static_cast<double>(i);
  const Chance &a = rows_[i], &b = rows_[i + 1];
  return {a.share + f * (b.share - a.share),
          a.fading_mean_db + f * (b.fading_mean_db - a.fading_mean_db),
          a.fading_sd_db + f * (b.fading_sd_db - a.fading_sd_db)};
}

}  // namespace roundel::simulate
