// What an aircraft's own antennas make of the direction from which they are seen, dB.
#pragma once
#include <algorithm>

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

}  // namespace roundel::simulate
