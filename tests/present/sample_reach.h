// A reach as a site with a wall in the south and an empty quarter in the west would show.
#pragma once
#include <cmath>
#include <random>

#include "roundel/pattern/reach.h"

namespace roundel::present {

inline pattern::Reach sample_reach() {
  static const site::Viewpoint viewpoint(*site::GeoPoint::make(52.1, 19.4, 12));
  const auto limit = site::effective_earth_limit(viewpoint);
  pattern::ReachBuilder builder(viewpoint, *limit, {}, {}, {});
  pattern::Reach reach = builder.finish();
  std::mt19937_64 random(4);
  const auto unit = [&] { return static_cast<double>(random() % 1000) / 1000; };
  constexpr double band_altitude_ft[] = {5'000, 15'000, 24'000, 38'000};
  for (std::size_t i = 0; i < reach.sectors.size(); ++i) {
    auto& sector = reach.sectors[i];
    const double bearing_deg = sector.bearing_deg;
    if (bearing_deg > 250 && bearing_deg < 270) continue;  // nobody flies there
    const bool wall = bearing_deg > 180 && bearing_deg < 210;
    for (std::size_t band = 0; band < 4; ++band) {
      const double altitude_ft = band_altitude_ft[band];
      const double horizon_km = viewpoint.horizon_km(bearing_deg, altitude_ft);
      // Below 4 degrees nothing passes the wall: about height / tan(4 degrees).
      const double range_km = wall ? altitude_ft * 0.0003048 / std::tan(0.07) * (0.9 + 0.1 * unit())
                                   : horizon_km * (0.86 + 0.08 * unit());
      auto& of = sector.by_altitude[band];
      of.farthest = pattern::Farthest{range_km,   bearing_deg,  altitude_ft,
                                      horizon_km, 0x4b1600 + i, 1'772'323'200};
      of.flights = 12;
      of.cells = 300;
      if (!sector.farthest || range_km > sector.farthest->range_km) sector.farthest = of.farthest;
    }
    sector.flights = 30;
    sector.cells = 1200;
    if (!reach.farthest || sector.farthest->range_km > reach.farthest->range_km)
      reach.farthest = sector.farthest;
  }
  reach.flights = 1'840;
  reach.cells = 81'600;
  reach.reports = 1'204'311;
  reach.from_s = 1'772'323'200;
  reach.to_s = 1'772'323'200 + 86'400;
  return reach;
}

}  // namespace roundel::present
