// A scenario in which nothing varies but what a test adds.
#pragma once
#include "roundel/simulate/simulate.h"

namespace roundel::simulate {

inline Scenario ideal(double hours) {
  Scenario s;
  s.seed = 11;
  s.hours = hours;
  s.reception.message_loss = 0;
  s.reception.power_sd_db = 0;
  s.reception.fading_sd_db = 0;
  s.reception.shadow_sd_db = 0;
  s.reception.own_shadow_sd_db = 0;
  s.types = {{"airliner", 1, 0, 0, 0, 0, 0, false}, {"light", 1, 0, 0, 0, 0, 0, true}};
  Antenna& antenna = s.antenna("flat");
  antenna.elevation.kind = ElevationKind::flat;
  return s;
}

}  // namespace roundel::simulate
