#include "analysis/simulate/traffic.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "analysis/simulate/numeric.h"
#include "analysis/simulate/routes.h"

namespace roundel::simulate {
namespace {

/// Flights by kind, each a Poisson process whose rate is constant within an hour.
class DrawnTraffic final : public TrafficSource {
 public:
  explicit DrawnTraffic(const Scenario& scenario)
      : scenario_(scenario),
        routes_(routes_of(scenario.traffic)),
        busy_until_s_(static_cast<std::size_t>(scenario.traffic.fleet)) {
    double sum = 0;
    for (const Route& route : routes_) sum += route.share;
    double longest_s = 0;
    for (std::size_t k = 0; k < routes_.size(); ++k) {
      // How long a flight of this kind lasts, so that the share can be one of aircraft in the air.
      Random random(scenario.seed, Purpose::lengths, k);
      constexpr int n_samples = 300;
      double total_s = 0;
      int n_flown = 0;
      for (int n = 0; n < n_samples; ++n) {
        const auto way = fly(scenario.traffic, routes_[k], 0, random);
        if (way.size() < 2) continue;
        ++n_flown;
        total_s += way.back().time_s;
        longest_s = std::max(longest_s, way.back().time_s);
      }
      if (n_flown == 0) {
        rate_per_s_.push_back(0);
        continue;
      }
      rate_per_s_.push_back(scenario.traffic.mean_aircraft * routes_[k].share / sum /
                            (total_s / n_flown));
    }
    // Begin so long before that the sky is full at the start.
    next_hour_ = static_cast<std::int64_t>(std::floor((scenario.start_s - longest_s) / 3600)) - 1;
  }

  void starting_before(double time_s, std::vector<Track>& out) override {
    while (static_cast<double>(next_hour_) * 3600 < time_s) add_hour();
    auto end = std::find_if(waiting_.begin(), waiting_.end(),
                            [&](const Track& track) { return track.first_s() >= time_s; });
    out.insert(out.end(), std::make_move_iterator(waiting_.begin()), std::make_move_iterator(end));
    waiting_.erase(waiting_.begin(), end);
  }

 private:
  void add_hour() {
    struct Start {
      Track track;
      const Route* route;
    };
    std::vector<Start> starts;
    const double begin_s = static_cast<double>(next_hour_) * 3600;
    const double factor = hourly_factor(scenario_.traffic, begin_s);
    for (std::size_t k = 0; k < routes_.size(); ++k) {
      Random random(scenario_.seed, Purpose::traffic, static_cast<std::uint64_t>(next_hour_), k);
      const double rate = rate_per_s_[k] * factor;
      if (rate == 0) continue;
      double t = begin_s;
      while ((t += random.exponential() / rate) < begin_s + 3600) {
        Start start{{}, &routes_[k]};
        start.track.way = fly(scenario_.traffic, routes_[k], t, random);
        if (start.track.way.size() >= 2) starts.push_back(std::move(start));
      }
    }
    std::stable_sort(starts.begin(), starts.end(), [](const Start& a, const Start& b) {
      return a.track.first_s() < b.track.first_s();
    });
    for (Start& start : starts) {
      give_identity(*start.route, start.track);
      waiting_.push_back(std::move(start.track));
    }
    ++next_hour_;
  }

  void give_identity(const Route& route, Track& track) {
    track.serial = serial_++;
    std::uint64_t airframe = track.serial;
    if (!busy_until_s_.empty()) {
      Random random(scenario_.seed, Purpose::layout, track.serial, 1);
      // Half an hour on the ground at least, so that two flights stay two.
      for (int tries = 0; tries < 1000; ++tries) {
        airframe = random.below(busy_until_s_.size());
        const bool is_light = airframe % 8 == 7;
        if (is_light == route.is_light() && busy_until_s_[airframe] < track.first_s()) break;
      }
      busy_until_s_[airframe] = track.last_s() + 2000;
    }
    track.address = nth_address(scenario_.seed, airframe);
    give_character(scenario_, airframe, route.is_light(),
                   route.kind == RouteKind::airway ? scenario_.traffic.airways[route.index].type
                                                   : std::string(),
                   track);
  }

  const Scenario& scenario_;
  std::vector<Route> routes_;
  std::vector<double> rate_per_s_;
  std::vector<double> busy_until_s_;
  std::int64_t next_hour_{};
  std::uint64_t serial_ = 0;
  std::vector<Track> waiting_;
};

}  // namespace

Flying Flyer::at(const Track& track, double time_s) {
  const auto& way = track.way;
  assert(way.size() >= 2);
  while (leg_ > 0 && time_s < way[leg_].time_s) --leg_, has_heading_ = false;
  while (leg_ + 2 < way.size() && time_s >= way[leg_ + 1].time_s) ++leg_, has_heading_ = false;
  const Waypoint& a = way[leg_];
  const Waypoint& b = way[leg_ + 1];
  const double dx = b.place.x_km - a.place.x_km, dy = b.place.y_km - a.place.y_km;
  if (!has_heading_) {
    const double km = std::sqrt(dx * dx + dy * dy);
    heading_x_ = km > 0 ? dx / km : 0;
    heading_y_ = km > 0 ? dy / km : 1;
    has_heading_ = true;
  }
  const double f = b.time_s > a.time_s ? (time_s - a.time_s) / (b.time_s - a.time_s) : 0;
  return {{a.place.x_km + f * dx, a.place.y_km + f * dy},
          a.altitude_ft + f * (b.altitude_ft - a.altitude_ft),
          heading_x_,
          heading_y_,
          a.bank};
}

double hourly_factor(const Traffic& traffic, double time_s) {
  const double hour = std::floor(time_s / 3600) - 24 * std::floor(time_s / 86400) + 0.5;
  const double wave = (1 - sin_cos(2 * pi * (hour - traffic.quiet_h - 0.5) / 24).cos) / 2;
  const double night = traffic.night_factor;
  return (night + (1 - night) * wave) / ((1 + night) / 2);
}

std::uint32_t nth_address(std::uint64_t seed, std::uint64_t n) {
  constexpr std::uint64_t mask = 0xFFFFFF;
  constexpr std::uint64_t usable = mask - 1;
  // Odd multipliers and xor-shifts are bijections of 24-bit numbers; the two unusable results are
  // stepped over by walking the cycle.
  auto scramble = [seed](std::uint64_t x) {
    x = (x * 0x9E3779B1ULL + mix(seed)) & mask;
    x ^= x >> 11;
    return (x * 0x85EBCA6BULL) & mask;
  };
  std::uint64_t x = scramble(n % usable + 1);
  while (x == 0 || x == mask) x = scramble(x);
  return static_cast<std::uint32_t>(x);
}

void give_character(const Scenario& scenario, std::uint64_t key, bool is_light,
                    const std::string& type, Track& track) {
  Random random(scenario.seed, Purpose::layout, key, 2);
  const auto& types = scenario.types;
  double sum = 0;
  const auto counts = [&](const AircraftType& t) {
    return type.empty() ? t.is_light == is_light : t.name == type;
  };
  for (const AircraftType& t : types) sum += counts(t) ? t.share : 0;
  double left = random.uniform() * sum;
  for (std::size_t i = 0; i < types.size(); ++i) {
    if (!counts(types[i])) continue;
    track.type = i;
    left -= types[i].share;
    if (left < 0) break;
  }
  track.power_db = types[track.type].power_db + scenario.reception.power_sd_db * random.normal();
  Random airframe(scenario.seed, Purpose::airframe, key);
  track.has_two_antennas = airframe.chance(scenario.aircraft.two_antennas_share);
  track.is_half_rate = airframe.chance(scenario.aircraft.half_rate_share);
  if (airframe.chance(scenario.aircraft.weak_share))
    track.power_db -= scenario.aircraft.weak_db * airframe.exponential();
}

Result<std::unique_ptr<TrafficSource>> TrafficSource::make(const Scenario& scenario,
                                                           const Plane& plane) {
  if (scenario.traffic.file) return file_traffic(scenario, plane);
  return std::make_unique<DrawnTraffic>(scenario);
}

}  // namespace roundel::simulate
