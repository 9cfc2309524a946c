#include "analysis/pattern/hour_levels.h"

#include <cmath>
#include <limits>

#include "roundel/pattern/gain.h"

namespace roundel::pattern {

void HourLevels::add(const Group& group) {
  if (!tells_level(group)) return;
  OfFlight& flight = flights.back();
  if (flight.n_groups > 0) {
    LevelGroup& last = groups.back();
    const int chances = last.chances + group.chances;
    if (last.sector == group.sector && last.hour == group.hour &&
        chances <= std::numeric_limits<std::uint16_t>::max() &&
        std::abs(last.spreading_db - group.spreading_db) < alike_db &&
        std::abs(last.cos_aspect - group.cos_aspect) < alike_aspect) {
      const float share = static_cast<float>(group.chances) / static_cast<float>(chances);
      const auto mean = [share](float& a, float b) { a += share * (b - a); };
      mean(last.spreading_db, group.spreading_db);
      mean(last.elevation_deg, group.elevation_deg);
      mean(last.bearing_off_deg, group.bearing_off_deg);
      mean(last.cos_aspect, group.cos_aspect);
      last.heard = static_cast<std::uint16_t>(last.heard + group.heard);
      last.chances = static_cast<std::uint16_t>(chances);
      return;
    }
  }
  ++flight.n_groups;
  groups.push_back({group.spreading_db, group.elevation_deg, group.bearing_off_deg,
                    group.cos_aspect, group.heard, group.chances, group.sector, group.hour});
}

HourLevels levels_of(const HourExposure& hour) {
  HourLevels out;
  out.start_s = hour.counts.start_s;
  out.first_window = hour.first_window;
  out.last_window = hour.last_window;
  out.heard_histogram = hour.heard_histogram;
  for (const FlightHour& flight : hour.flights) {
    out.begin_flight(flight.flight.id);
    for (const Group& group : flight.groups) out.add(group);
  }
  return out;
}

}  // namespace roundel::pattern
