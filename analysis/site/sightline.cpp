#include "roundel/site/sightline.h"

#include <fmt/format.h>

#include <GeographicLib/Geodesic.hpp>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "analysis/site/curvature.h"
#include "analysis/site/triangle.h"

namespace roundel::site {
namespace {

Result<void> within(const char* quantity, double value, double low, double high, const char* unit) {
  if (value >= low && value <= high) return {};
  return fail(Errc::out_of_range,
              fmt::format("{} {} {} is outside {} to {}", quantity, value, unit, low, high));
}

}  // namespace

Result<GeoPoint> GeoPoint::make(double latitude_deg, double longitude_deg, double height_m) {
  if (auto ok = within("latitude", latitude_deg, -90, 90, "degrees"); !ok)
    return tl::unexpected(ok.error());
  if (auto ok = within("longitude", longitude_deg, -180, 180, "degrees"); !ok)
    return tl::unexpected(ok.error());
  if (auto ok = within("height", height_m, -500, 50'000, "m"); !ok)
    return tl::unexpected(ok.error());
  GeoPoint point;
  point.latitude_deg_ = latitude_deg;
  point.longitude_deg_ = longitude_deg;
  point.height_m_ = height_m;
  return point;
}

Sightline sightline(const GeoPoint& antenna, const GeoPoint& aircraft, double k) noexcept {
  assert(k > 0);
  double range_m{}, azimuth_deg{}, azimuth_there_deg{};
  GeographicLib::Geodesic::WGS84().Inverse(antenna.latitude_deg(), antenna.longitude_deg(),
                                           aircraft.latitude_deg(), aircraft.longitude_deg(),
                                           range_m, azimuth_deg, azimuth_there_deg);
  // For one and the same point GeographicLib says 180 degrees; ours is 0, and for all that is as
  // good as the same point.
  const double bearing_deg = range_m < 1 ? 0 : bearing_of(azimuth_deg);
  const double radius_km = Curvature::at(antenna.latitude_deg()).along_km(bearing_deg);
  const Upright upright =
      solve(range_m / 1000, k * radius_km, antenna.height_m(), aircraft.height_m());
  return {range_m / 1000, upright.slant_km, bearing_deg, upright.elevation_deg};
}

}  // namespace roundel::site
