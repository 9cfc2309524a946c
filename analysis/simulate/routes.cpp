#include "analysis/simulate/routes.h"

#include <algorithm>
#include <cmath>

#include "analysis/simulate/numeric.h"

namespace roundel::simulate {
namespace {

constexpr double km_s_per_knot = 1.852 / 3600;
// A 3 degree descent loses 318 ft a nautical mile.
constexpr double km_per_ft_descent = 1.852 / 318;

Place towards(double bearing_deg, double range_km) {
  const SinCos b = sin_cos(bearing_deg * degree);
  return {b.sin * range_km, b.cos * range_km};
}
Place operator+(Place a, Place b) { return {a.x_km + b.x_km, a.y_km + b.y_km}; }
Place operator-(Place a, Place b) { return {a.x_km - b.x_km, a.y_km - b.y_km}; }
Place operator*(double k, Place a) { return {k * a.x_km, k * a.y_km}; }
double length(Place a) { return std::sqrt(a.x_km * a.x_km + a.y_km * a.y_km); }

/// A flight being planned: every point is reached from the one before at a speed.
class Plan {
 public:
  Plan(double start_s, Place place, double altitude_ft) {
    way_.push_back({start_s, place, altitude_ft, 0});
  }
  void to(Place place, double altitude_ft, double speed_kn, double bank = 0) {
    const Waypoint& last = way_.back();
    const double km = length(place - last.place);
    if (km < 0.01) return;
    const double time_s = last.time_s + km / (speed_kn * km_s_per_knot);
    way_.back().bank = bank;
    way_.push_back({time_s, place, altitude_ft, 0});
  }
  /// An arc around a centre, from where the flight is; sweep clockwise, in steps of 15 degrees.
  void around(Place centre, double sweep_deg, double speed_kn) {
    const Waypoint last = way_.back();
    const Place out = last.place - centre;
    const double radius = length(out), from = angle_of(out.x_km, out.y_km) / degree;
    const int steps = std::max(1, static_cast<int>(whole(std::fabs(sweep_deg) / 15)));
    for (int i = 1; i <= steps; ++i)
      to(centre + towards(from + sweep_deg * i / steps, radius), last.altitude_ft, speed_kn,
         sweep_deg > 0 ? 1 : -1);
  }
  const Waypoint& last() const { return way_.back(); }
  std::vector<Waypoint> take() { return std::move(way_); }

 private:
  std::vector<Waypoint> way_;
};

double cruise_speed_kn(Random& random) { return random.uniform(420, 500); }

/// A thousand-foot level; eastbound odd, westbound even (ICAO Annex 2, appendix 3).
double level_ft(double low_ft, double high_ft, bool is_eastbound, Random& random) {
  const auto low = whole(low_ft / 1000), high = std::max(low, whole(high_ft / 1000));
  auto level =
      low + static_cast<std::int64_t>(random.below(static_cast<std::uint64_t>(high - low + 1)));
  if ((level % 2 != 0) != is_eastbound) level += level < high ? 1 : (level > low ? -1 : 0);
  return static_cast<double>(level) * 1000;
}

std::vector<Waypoint> straight(Place from, Place to, double low_ft, double high_ft, double start_s,
                               Random& random) {
  Plan plan(start_s, from, level_ft(low_ft, high_ft, to.x_km >= from.x_km, random));
  plan.to(to, plan.last().altitude_ft, cruise_speed_kn(random));
  return plan.take();
}

// A line process: every direction and every offset alike, so the area is covered evenly.
std::vector<Waypoint> crossing(const Traffic& traffic, double start_s, Random& random) {
  const double course = random.uniform(0, 360), radius = traffic.radius_km;
  const double offset = random.uniform(-0.995, 0.995) * radius;
  const double half_km = std::sqrt(radius * radius - offset * offset);
  const Place along = towards(course, 1), across = towards(course + 90, 1);
  return straight(offset * across - half_km * along, offset * across + half_km * along, 26000,
                  41000, start_s, random);
}

std::vector<Waypoint> along_airway(const Traffic& traffic, const Airway& airway, double start_s,
                                   Random& random) {
  Place from = towards(airway.from_deg, traffic.radius_km);
  Place to = towards(airway.to_deg, traffic.radius_km);
  const Place way = to - from;
  const Place across{way.y_km / length(way), -way.x_km / length(way)};
  const Place shift = (random.normal() * airway.width_km) * across;
  if (airway.both_ways && random.chance(0.5)) std::swap(from, to);
  return straight(from + shift, to + shift, airway.low_ft, airway.high_ft, start_s, random);
}

std::vector<Waypoint> arrival(const Traffic& traffic, const Airport& airport, double start_s,
                              Random& random) {
  const Place field = towards(airport.bearing_deg, airport.range_km);
  const Place fix = field - 20 * towards(airport.runway_deg, 1);
  const double fix_ft = airport.elevation_ft + 20 / km_per_ft_descent;
  const Place entry = towards(random.uniform(0, 360), traffic.radius_km);
  const double km = length(fix - entry);
  const double highest_ft = std::min(39000.0, fix_ft + 0.9 * km / km_per_ft_descent);
  const double cruise_ft =
      level_ft(std::min(24000.0, highest_ft), highest_ft, fix.x_km > entry.x_km, random);
  const double speed_kn = cruise_speed_kn(random);
  const Place back = (1 / km) * (entry - fix);
  Plan plan(start_s, entry, cruise_ft);
  plan.to(fix + ((cruise_ft - fix_ft) * km_per_ft_descent) * back, cruise_ft, speed_kn);
  if (random.chance(airport.hold_share) && km > 120) {
    // A racetrack of right turns 45 km before the fix.
    const double hold_ft = fix_ft + 45 / km_per_ft_descent;
    plan.to(fix + 45 * back, hold_ft, 300);
    const Place ahead = -1 * back, right{ahead.y_km, -ahead.x_km};
    const auto laps = 2 + random.below(4);
    for (std::uint64_t lap = 0; lap < laps; ++lap) {
      plan.around(plan.last().place + 3 * right, 180, 230);
      plan.to(plan.last().place + 8 * back, hold_ft, 230);
      plan.around(plan.last().place - 3 * right, 180, 230);
      plan.to(plan.last().place + 8 * ahead, hold_ft, 230);
    }
  }
  plan.to(fix, fix_ft, 310);
  plan.to(field, airport.elevation_ft + 50, 150);
  return plan.take();
}

std::vector<Waypoint> departure(const Traffic& traffic, const Airport& airport, double start_s,
                                Random& random) {
  const Place field = towards(airport.bearing_deg, airport.range_km);
  const Place turn = field + random.uniform(8, 16) * towards(airport.runway_deg, 1);
  const Place exit = towards(random.uniform(0, 360), traffic.radius_km);
  const double km = length(exit - turn);
  const double cruise_ft = level_ft(24000, 39000, exit.x_km > turn.x_km, random);
  // 2 500 ft/min at first, 250 ft a kilometre on the way up.
  const double climb_km = std::min(0.9 * km, (cruise_ft - 4000) / 250);
  Plan plan(start_s, field, airport.elevation_ft + 50);
  plan.to(turn, airport.elevation_ft + 4000, 180);
  plan.to(turn + (climb_km / km) * (exit - turn), cruise_ft, 380);
  plan.to(exit, cruise_ft, cruise_speed_kn(random));
  return plan.take();
}

std::vector<Waypoint> orbiting(const Traffic& traffic, const Orbit& orbit, double start_s,
                               Random& random) {
  const Place centre = towards(orbit.bearing_deg, orbit.range_km);
  const double in_deg = random.uniform(0, 360), out_deg = random.uniform(0, 360);
  Plan plan(start_s, towards(in_deg, traffic.radius_km), orbit.altitude_ft);
  const Place inbound = plan.last().place - centre;
  const Place rim = centre + (orbit.radius_km / std::max(1.0, length(inbound))) * inbound;
  plan.to(rim, orbit.altitude_ft, 300);
  const double end_s = plan.last().time_s + orbit.hours * 3600;
  const double sweep = random.chance(0.5) ? 90 : -90;
  while (plan.last().time_s < end_s) plan.around(centre, sweep, 190);
  plan.to(towards(out_deg, traffic.radius_km), orbit.altitude_ft, 300);
  return plan.take();
}

std::vector<Waypoint> wandering(const Traffic& traffic, double start_s, Random& random) {
  // Small aircraft matter to an antenna only where they stand above its horizon.
  const double range_km = std::min(0.5 * traffic.radius_km, 200.0) * std::sqrt(random.uniform());
  const double altitude_ft = random.uniform(1200, 7500), speed_kn = random.uniform(85, 145);
  double course = random.uniform(0, 360);
  Plan plan(start_s, towards(random.uniform(0, 360), range_km), 600);
  const auto legs = 3 + random.below(5);
  for (std::uint64_t leg = 0; leg < legs; ++leg) {
    const bool is_first = leg == 0, is_last = leg + 1 == legs;
    if (is_first) plan.to(plan.last().place + 8 * towards(course, 1), altitude_ft, 80);
    plan.to(plan.last().place + random.uniform(10, 40) * towards(course, 1), altitude_ft, speed_kn);
    if (is_last) plan.to(plan.last().place + 8 * towards(course, 1), 600, 80);
    course += random.uniform(-80, 80);
  }
  return plan.take();
}

std::vector<Waypoint> any(const Traffic& traffic, const Route& route, double start_s,
                          Random& random) {
  switch (route.kind) {
    case RouteKind::crossing:
      return crossing(traffic, start_s, random);
    case RouteKind::airway:
      return along_airway(traffic, traffic.airways[route.index], start_s, random);
    case RouteKind::arrival:
      return arrival(traffic, traffic.airports[route.index], start_s, random);
    case RouteKind::departure:
      return departure(traffic, traffic.airports[route.index], start_s, random);
    case RouteKind::orbit:
      return orbiting(traffic, traffic.orbits[route.index], start_s, random);
    case RouteKind::light:
      break;
  }
  return wandering(traffic, start_s, random);
}

}  // namespace

std::vector<Route> routes_of(const Traffic& traffic) {
  std::vector<Route> routes;
  const auto add = [&](RouteKind kind, std::size_t index, double share) {
    if (share > 0) routes.push_back({kind, index, share});
  };
  add(RouteKind::crossing, 0, traffic.crossing_share);
  add(RouteKind::light, 0, traffic.light_share);
  for (std::size_t i = 0; i < traffic.airways.size(); ++i)
    add(RouteKind::airway, i, traffic.airways[i].share);
  for (std::size_t i = 0; i < traffic.airports.size(); ++i) {
    add(RouteKind::arrival, i, traffic.airports[i].share / 2);
    add(RouteKind::departure, i, traffic.airports[i].share / 2);
  }
  for (std::size_t i = 0; i < traffic.orbits.size(); ++i)
    add(RouteKind::orbit, i, traffic.orbits[i].share);
  return routes;
}

std::vector<Waypoint> fly(const Traffic& traffic, const Route& route, double start_s,
                          Random& random) {
  std::vector<Waypoint> way = any(traffic, route, start_s, random);
  for (int tries = 0; tries < 100; ++tries) {
    const bool is_unwanted = std::any_of(
        traffic.empties.begin(), traffic.empties.end(),
        [&](const Empty& empty) { return touches(empty, way) && !random.chance(empty.keep); });
    if (!is_unwanted) return way;
    way = any(traffic, route, start_s, random);
  }
  return {};
}

bool touches(const Empty& empty, const std::vector<Waypoint>& way) {
  constexpr double step_km = 15, near_km = 40;
  for (std::size_t i = 0; i + 1 < way.size(); ++i) {
    const Place leg = way[i + 1].place - way[i].place;
    const int steps = 1 + static_cast<int>(length(leg) / step_km);
    for (int n = 0; n <= steps; ++n) {
      const Place p = way[i].place + (static_cast<double>(n) / steps) * leg;
      if (length(p) > near_km &&
          lies_between(wrap_360(angle_of(p.x_km, p.y_km) / degree), empty.from_deg, empty.to_deg))
        return true;
    }
  }
  return false;
}

}  // namespace roundel::simulate
