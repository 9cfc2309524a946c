// How one flight of each kind goes.
#pragma once
#include <string>
#include <vector>

#include "analysis/simulate/random.h"
#include "analysis/simulate/traffic.h"

namespace roundel::simulate {

enum class RouteKind { crossing, airway, arrival, departure, orbit, light };

/// One kind of flight of a scenario, with its share of the aircraft in the air.
struct Route {
  RouteKind kind{};
  std::size_t index{};  ///< of the airway, airport or orbit
  double share{};
  bool is_light() const { return kind == RouteKind::light; }
};

/// All kinds with a share above zero.
std::vector<Route> routes_of(const Traffic& traffic);

/// The waypoints of one flight that starts at start_s; empty sectors are avoided. None where a kind
/// cannot but cross one.
std::vector<Waypoint> fly(const Traffic& traffic, const Route& route, double start_s,
                          Random& random);

/// Whether a flight goes through a sector farther than 40 km out.
bool touches(const Empty& empty, const std::vector<Waypoint>& way);

}  // namespace roundel::simulate
