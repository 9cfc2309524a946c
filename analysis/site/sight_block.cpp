#include "analysis/site/sight_block.h"

#include <cmath>

#include "analysis/site/arctangent.h"
#include "analysis/site/triangle.h"
#include "roundel/wide.h"

namespace roundel::site {

ROUNDEL_WIDE
void sight(SightBlock& block, const Curvature& curvature, double k, double antenna_m) noexcept {
  const Curvature ellipsoid = curvature;
  for (std::size_t i = 0; i < SightBlock::size; ++i) {
    const double east_km = block.east_km[i], north_km = block.north_km[i];
    const double range_km = std::sqrt(east_km * east_km + north_km * north_km);
    block.range_km[i] = range_km;
    block.bearing_deg[i] = bearing_of(east_km, north_km);
    const double north = north_km / range_km;
    const double radius_km = k * ellipsoid.along_north2_km(north * north);
    const Upright upright = solve_from(sine_cosine_series(range_km / radius_km / 2), radius_km,
                                       antenna_m, block.height_m[i]);
    block.slant_km[i] = upright.slant_km;
    block.elevation_deg[i] = upright.elevation_deg;
  }
}

}  // namespace roundel::site
