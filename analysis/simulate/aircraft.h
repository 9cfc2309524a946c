// What an aircraft's own antennas make of the direction from which they are seen, dB; and where it
// says that it is.
#pragma once
#include <algorithm>
#include <cmath>
#include <optional>

#include "analysis/simulate/numeric.h"
#include "analysis/simulate/plane.h"
#include "analysis/simulate/traffic.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

inline double aspect_db(const AircraftType& type, const Flying& flying, const Sight& sight) {
  // Towards the site: the reverse of the bearing under which it is seen.
  const double c = -(flying.heading_x * sight.sin_bearing + flying.heading_y * sight.cos_bearing);
  double db =
      type.nose_db * c + type.side_db * (2 * c * c - 1) + type.lobe_db * c * (4 * c * c - 3);
  if (flying.bank != 0) {
    // Positive when the site stands to the left, which is outside a right turn.
    const double left =
        flying.heading_x * -sight.cos_bearing + flying.heading_y * sight.sin_bearing;
    db += type.belly_db * flying.bank * left;
  }
  return db;
}

/// How much weaker the upper antenna is than the lower one.
inline double upper_loss_db(const AircraftPlan& plan, double elevation_deg) {
  return std::min(plan.upper_loss_most_db,
                  plan.upper_loss_db + plan.upper_loss_db_per_deg * std::max(0.0, elevation_deg));
}

/// Where an aircraft says that it is; none: it says nothing.
inline std::optional<Place> told_place(const Scenario& scenario, double time_s, Place truly) {
  const double hour = (time_s - scenario.start_s) / 3600;
  const auto place = [](double bearing_deg, double range_km) {
    const SinCos bearing = sin_cos(bearing_deg * degree);
    return Place{range_km * bearing.sin, range_km * bearing.cos};
  };
  for (const Interference& one : scenario.interferences) {
    const Place middle = place(one.bearing_deg, one.range_km);
    const double x = truly.x_km - middle.x_km, y = truly.y_km - middle.y_km;
    if (hour < one.from_h || hour >= one.to_h || x * x + y * y > one.radius_km * one.radius_km)
      continue;
    if (one.kind == InterferenceKind::silent) return {};
    // Round a false place at 200 m/s, as spoofed aircraft do: 3 km of radius, 94 s a turn.
    const Place centre = place(one.false_bearing_deg, one.false_range_km);
    const Place off = place(std::fmod(time_s, 94) / 94 * 360, 3);
    return Place{centre.x_km + off.x_km, centre.y_km + off.y_km};
  }
  return truly;
}

}  // namespace roundel::simulate
