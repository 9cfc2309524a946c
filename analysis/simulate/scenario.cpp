#include "roundel/simulate/scenario.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/simulate/numeric.h"
#include "analysis/simulate/random.h"
#include "analysis/simulate/routes.h"

namespace roundel::simulate {
namespace {

template <class T>
T& named(std::vector<T>& list, std::string_view name) {
  for (T& item : list)
    if (item.name == name) return item;
  list.emplace_back().name = name;
  return list.back();
}

template <class T>
bool has(const std::vector<T>& list, const std::string& name) {
  return std::any_of(list.begin(), list.end(), [&](const T& t) { return t.name == name; });
}

tl::unexpected<Error> bad(std::string where, std::string what, std::string remedy = {}) {
  return fail(Errc::bad_config, std::move(what), std::move(where), std::move(remedy));
}

std::vector<AircraftType> usual_types() {
  return {{"airliner", 0.6, 0.0, 0.6, 0.4, 0.3, 2.0, false},
          {"heavy", 0.2, 1.5, 0.8, 0.6, 0.3, 2.0, false},
          {"small jet", 0.2, -1.5, 0.4, 0.8, 0.5, 2.5, false},
          {"light aircraft", 1.0, -3.0, -0.5, 1.0, 0.6, 3.0, true}};
}

void draw_airways(Scenario& s) {
  Traffic& traffic = s.traffic;
  Random random(s.seed, Purpose::layout, 0, 3);
  // Nothing drawn shall lead through a sector that is to be empty, where that can be had.
  const auto is_free = [&](double from_deg, double from_km, double to_deg, double to_km) {
    const auto point = [](double bearing_deg, double range_km) {
      const SinCos b = sin_cos(bearing_deg * degree);
      return Waypoint{0, {b.sin * range_km, b.cos * range_km}, 0, 0};
    };
    const std::vector<Waypoint> way{point(from_deg, from_km), point(to_deg, to_km)};
    return std::none_of(traffic.empties.begin(), traffic.empties.end(),
                        [&](const Empty& empty) { return touches(empty, way); });
  };
  constexpr int most_tries = 200;
  double sum = 0;
  for (int i = 0; i < traffic.airways_from_seed; ++i) {
    Airway airway;
    for (int tries = 0; tries < most_tries; ++tries) {
      airway.from_deg = random.uniform(0, 360);
      // Passing the site on either side.
      const double turn_deg = std::clamp(35 * random.normal(), -150.0, 150.0);
      airway.to_deg = wrap_360(airway.from_deg + 180 + turn_deg);
      if (is_free(airway.from_deg, traffic.radius_km, airway.to_deg, traffic.radius_km)) break;
    }
    airway.width_km = random.uniform(5, 14);
    sum += airway.share = 0.3 + random.exponential();
    traffic.airways.push_back(airway);
  }
  for (Airway& airway : traffic.airways) airway.share *= traffic.airways_share / sum;
  Airport airport;
  for (int tries = 0; tries < most_tries; ++tries) {
    airport.bearing_deg = random.uniform(0, 360);
    airport.range_km = random.uniform(25, 90);
    if (is_free(airport.bearing_deg, airport.range_km, airport.bearing_deg, airport.range_km))
      break;
  }
  airport.runway_deg = random.uniform(0, 360);
  airport.share = traffic.airport_share;
  traffic.airports.push_back(airport);
  traffic.airways_from_seed = 0;
}

Result<void> check_trials(const Scenario& s) {
  for (std::size_t i = 0; i < s.trials.size(); ++i) {
    const TrialPlan& trial = s.trials[i];
    const std::string where = fmt::format("trial {}", i + 1);
    if (!has(s.antennas, trial.antenna))
      return bad(where, fmt::format("no antenna is named '{}'", trial.antenna));
    if (!has(s.mounts, trial.mount))
      return bad(where, fmt::format("no mount is named '{}'", trial.mount));
    if (!has(s.receivers, trial.receiver))
      return bad(where, fmt::format("no receiver is named '{}'", trial.receiver));
    const double stop_h = trial.stop_h.value_or(s.hours);
    if (trial.stop_h && stop_h <= trial.start_h)
      return bad(where, fmt::format("stop_h {} is not after start_h {}", stop_h, trial.start_h));
    for (std::size_t j = 0; j < i; ++j) {
      const TrialPlan& other = s.trials[j];
      if (other.feed == trial.feed && trial.start_h < other.stop_h.value_or(s.hours) &&
          other.start_h < stop_h)
        return bad(where, fmt::format("overlaps trial {} of feed '{}'", j + 1, trial.feed),
                   "stop one before the other starts, or put them on two feeds");
    }
  }
  return {};
}

Result<void> check(const Scenario& s) {
  if (!(s.hours > 0 && s.hours <= 24 * 3660))
    return bad("hours", fmt::format("{} is not in (0, 87840]", s.hours));
  if (!(s.start_s >= 0 && s.start_s < 1e11) || std::fmod(s.start_s, schema::window_s) != 0)
    return bad("start", fmt::format("{} is not a whole multiple of 10 s", s.start_s));
  if (!(std::fabs(s.site.latitude_deg) <= 75) || !(std::fabs(s.site.longitude_deg) <= 180))
    return bad("site", fmt::format("{}, {} is not within 75 degrees of the equator",
                                   s.site.latitude_deg, s.site.longitude_deg));
  if (!(s.traffic.mean_aircraft > 0 && s.traffic.mean_aircraft <= 5000))
    return bad("traffic",
               fmt::format("mean_aircraft {} is not in (0, 5000]", s.traffic.mean_aircraft));
  if (!(s.traffic.radius_km > 50 && s.traffic.radius_km <= 600))
    return bad("traffic", fmt::format("radius_km {} is not in (50, 600]", s.traffic.radius_km));
  if (s.traffic.fleet != 0 && s.traffic.fleet < 20 * s.traffic.mean_aircraft)
    return bad("traffic",
               fmt::format("a fleet of {} cannot keep {} aircraft in the air", s.traffic.fleet,
                           s.traffic.mean_aircraft),
               "have at least 20 airframes for each aircraft in the air");
  if (!(s.traffic.night_factor > 0 && s.traffic.night_factor <= 1))
    return bad("traffic", fmt::format("night_factor {} is not in (0, 1]", s.traffic.night_factor));
  double sum = s.traffic.crossing_share + s.traffic.light_share;
  for (const auto& airway : s.traffic.airways) sum += airway.share;
  for (const auto& airport : s.traffic.airports) sum += airport.share;
  for (const auto& orbit : s.traffic.orbits) sum += orbit.share;
  if (!s.traffic.file && !(sum > 0)) return bad("traffic", "all shares are zero: nobody flies");
  for (const Airway& airway : s.traffic.airways) {
    if (!airway.type.empty() && !has(s.types, airway.type))
      return bad("traffic.airway", fmt::format("no aircraft_type is named '{}'", airway.type));
    const double turn = wrap_360(airway.to_deg - airway.from_deg);
    if (turn < 5 || turn > 355)
      return bad("traffic.airway", fmt::format("from_deg {} and to_deg {} are not 5 degrees apart",
                                               airway.from_deg, airway.to_deg));
  }
  const auto is_kind = [&](bool light) {
    return std::any_of(s.types.begin(), s.types.end(),
                       [&](const AircraftType& t) { return t.is_light == light && t.share > 0; });
  };
  if (!is_kind(false) || (s.traffic.light_share > 0 && !is_kind(true)))
    return bad("aircraft_type", "there must be one that is light and one that is not");
  return check_trials(s);
}

}  // namespace

Antenna& Scenario::antenna(std::string_view name) { return named(antennas, name); }
Mount& Scenario::mount(std::string_view name) { return named(mounts, name); }
Receiver& Scenario::receiver(std::string_view name) { return named(receivers, name); }
FeedPlan& Scenario::feed(std::string_view name) { return named(feeds, name); }

Result<Scenario> completed(const Scenario& scenario) {
  Scenario s = scenario;
  if (s.antennas.empty()) s.antenna("antenna");
  if (s.mounts.empty()) s.mount("mount");
  if (s.receivers.empty()) s.receiver("receiver");
  if (s.types.empty()) s.types = usual_types();
  if (s.trials.empty()) s.trials.emplace_back();
  for (TrialPlan& trial : s.trials) {
    if (trial.antenna.empty()) trial.antenna = s.antennas.front().name;
    if (trial.mount.empty()) trial.mount = s.mounts.front().name;
    if (trial.receiver.empty()) trial.receiver = s.receivers.front().name;
    trial.rotation_deg = wrap_360(trial.rotation_deg);
    s.feed(trial.feed);
  }
  const Traffic& traffic = s.traffic;
  if (traffic.airways.empty() && traffic.airports.empty() && traffic.orbits.empty() &&
      traffic.airways_from_seed > 0 && !traffic.file)
    draw_airways(s);
  if (auto checked = check(s); !checked) return tl::unexpected(checked.error());
  return s;
}

}  // namespace roundel::simulate
