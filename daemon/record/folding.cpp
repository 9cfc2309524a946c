#include "daemon/record/folding.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace roundel::record {

int longitude_zones(double latitude_deg) noexcept {
  const double latitude = std::abs(latitude_deg);
  if (latitude > 87) return 1;
  if (latitude == 87) return 2;  // by definition; the formula sits on the edge of a jump
  const double c = std::cos(latitude * std::numbers::pi / 180);
  const double angle = std::acos(1 - (1 - std::cos(std::numbers::pi / 30)) / (c * c));
  // On the equator the quotient is 60 but for rounding, and NL is 59 by definition.
  return std::min(59, static_cast<int>(2 * std::numbers::pi / angle));
}

std::optional<site::Place> unfold(const site::Place& fix, const site::Place& near,
                                  double limit_km) noexcept {
  for (const int odd : {0, 1}) {
    const double zone_latitude_deg = 360.0 / (60 - odd);
    const double zone_deg = 360.0 / std::max(longitude_zones(fix.latitude_deg) - odd, 1);
    const double in_zone = fix.longitude_deg / zone_deg - std::floor(fix.longitude_deg / zone_deg);
    for (const int step : {0, -1, 1}) {
      const double latitude_deg = fix.latitude_deg + step * zone_latitude_deg;
      // About 110 km to a degree; and there is no latitude beyond the pole.
      if (std::abs(latitude_deg - near.latitude_deg) * 110 > limit_km) continue;
      if (std::abs(latitude_deg) > 90) continue;
      const double true_zone_deg = 360.0 / std::max(longitude_zones(latitude_deg) - odd, 1);
      const double zone = std::round(near.longitude_deg / true_zone_deg - in_zone);
      const site::Place place{latitude_deg,
                              site::wrap_longitude_deg(true_zone_deg * (zone + in_zone))};
      if (step == 0 && site::are_within(place, fix, 1)) continue;
      if (site::are_within(place, near, limit_km)) return place;
    }
  }
  return std::nullopt;
}

}  // namespace roundel::record
