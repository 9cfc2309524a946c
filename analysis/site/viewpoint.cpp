#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

#include "analysis/site/arctangent.h"
#include "analysis/site/curvature.h"
#include "analysis/site/grid.h"
#include "analysis/site/sight_block.h"
#include "analysis/site/triangle.h"
#include "roundel/schema/store.h"
#include "roundel/site/horizon.h"
#include "roundel/site/sightline.h"

namespace roundel::site {
namespace {

constexpr double grid_reach_km = 1000;
/// Nearer than this the exact geodesic serves: a bearing magnifies the grid's error, and a
/// handful of reports come from so near.
constexpr double near_km = 1;

}  // namespace

struct Viewpoint::Impl {
  Impl(const GeoPoint& from, double k_factor, double surface, double offset)
      : antenna(from),
        k(k_factor),
        surface_m(surface),
        offset_m(offset),
        curvature(Curvature::at(from.latitude_deg())),
        grid(from.latitude_deg(), from.longitude_deg(), grid_reach_km) {
    assert(k > 0);
  }

  struct OnGround {
    double range_km, bearing_deg;
    Grid::Offset offset;
  };
  OnGround place(double latitude_deg, double longitude_deg) const noexcept;

  GeoPoint antenna;
  double k;
  double surface_m;
  double offset_m;  ///< true height less pressure altitude
  Curvature curvature;
  Grid grid;
};

Viewpoint::Viewpoint(const GeoPoint& antenna, double k)
    : impl_(std::make_shared<const Impl>(antenna, k, 0, 0)) {}

Result<Viewpoint> Viewpoint::from(const schema::SiteRow& site, double k, double sea_level_hpa) {
  if (!(sea_level_hpa >= least_hpa && sea_level_hpa <= most_hpa))
    return fail(Errc::out_of_range,
                fmt::format("sea-level pressure {} hPa is outside {} to {}", sea_level_hpa,
                            least_hpa, most_hpa),
                "site");
  const auto antenna = GeoPoint::make(site.latitude_deg, site.longitude_deg,
                                      site.ground_m + site.antenna_m - site.surface_m);
  if (!antenna) {
    Error error = antenna.error();
    error.where = "site";
    return tl::unexpected(std::move(error));
  }
  return Viewpoint(
      std::make_shared<const Impl>(*antenna, k, site.surface_m, height_offset_m(sea_level_hpa)));
}

Result<Viewpoint> Viewpoint::of(const schema::Store& store, double sea_level_hpa) {
  const auto site = store.site();
  if (!site) return tl::unexpected(site.error());
  if (!*site)
    return fail(Errc::not_found, "the database knows no site, so nothing has a bearing", "",
                "start roundeld run once with a [site] in its configuration");
  return from(**site, k_standard, sea_level_hpa);
}

const GeoPoint& Viewpoint::antenna() const noexcept { return impl_->antenna; }
double Viewpoint::k() const noexcept { return impl_->k; }

double Viewpoint::height_m(double altitude_ft) const noexcept {
  return std::max(0.0, altitude_ft * metres_per_foot + impl_->offset_m - impl_->surface_m);
}

Viewpoint::Impl::OnGround Viewpoint::Impl::place(double latitude_deg,
                                                 double longitude_deg) const noexcept {
  assert(std::abs(latitude_deg) <= 90 && std::abs(longitude_deg) <= 180);
  if (const auto offset = grid.at(latitude_deg, longitude_deg)) {
    const double range_km =
        std::sqrt(offset->east_km * offset->east_km + offset->north_km * offset->north_km);
    if (range_km >= near_km)
      return {range_km, bearing_of(offset->east_km, offset->north_km), *offset};
  }
  const auto there = GeoPoint::make(latitude_deg, longitude_deg, 0);
  if (!there) return {0, 0, {0, 0}};
  const Sightline line = sightline(antenna, *there, k);
  const double bearing = line.bearing_deg * (std::numbers::pi / 180);
  return {line.range_km,
          line.bearing_deg,
          {line.range_km * std::sin(bearing), line.range_km * std::cos(bearing)}};
}

Overground Viewpoint::over(double latitude_deg, double longitude_deg) const noexcept {
  const auto place = impl_->place(latitude_deg, longitude_deg);
  return {place.range_km, place.bearing_deg};
}

Sighting Viewpoint::sight(double latitude_deg, double longitude_deg,
                          double altitude_ft) const noexcept {
  const auto place = impl_->place(latitude_deg, longitude_deg);
  const double north = place.range_km > 0 ? place.offset.north_km / place.range_km : 1;
  const double radius_km = impl_->k * impl_->curvature.along_north2_km(north * north);
  const Upright upright =
      solve(place.range_km, radius_km, impl_->antenna.height_m(), height_m(altitude_ft));
  return {{place.range_km, upright.slant_km, place.bearing_deg, upright.elevation_deg},
          place.offset.east_km,
          place.offset.north_km};
}

void Viewpoint::sight(std::span<const schema::Cell> cells, std::span<Sighting> out) const noexcept {
  assert(cells.size() == out.size());
  const double farthest_km =
      series_rad * 2 * impl_->k * std::min(impl_->curvature.meridian_km, impl_->curvature.prime_km);
  SightBlock block;
  block.east_km.fill(0), block.north_km.fill(near_km), block.height_m.fill(0);
  std::array<bool, SightBlock::size> is_inside;
  for (std::size_t from = 0; from < cells.size(); from += SightBlock::size) {
    const std::size_t n = std::min(SightBlock::size, cells.size() - from);
    for (std::size_t i = 0; i < n; ++i) {
      const schema::Cell& cell = cells[from + i];
      const auto offset = impl_->grid.at(cell.latitude_deg, cell.longitude_deg);
      is_inside[i] = offset.has_value();
      block.east_km[i] = offset ? offset->east_km : 0;
      block.north_km[i] = offset ? offset->north_km : near_km;
      block.height_m[i] = height_m(cell.altitude_ft);
    }
    site::sight(block, impl_->curvature, impl_->k, impl_->antenna.height_m());
    for (std::size_t i = 0; i < n; ++i) {
      const schema::Cell& cell = cells[from + i];
      const double range_km = block.range_km[i];
      out[from + i] = is_inside[i] && range_km >= near_km && range_km < farthest_km
                          ? Sighting{{range_km, block.slant_km[i], block.bearing_deg[i],
                                      block.elevation_deg[i]},
                                     block.east_km[i],
                                     block.north_km[i]}
                          : sight(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft);
    }
  }
}

Sightline Viewpoint::to(double latitude_deg, double longitude_deg,
                        double altitude_ft) const noexcept {
  return along(over(latitude_deg, longitude_deg), altitude_ft);
}

Sightline Viewpoint::along(const Overground& over_ground, double altitude_ft) const noexcept {
  const double radius_km = impl_->k * impl_->curvature.along_km(over_ground.bearing_deg);
  const Upright upright =
      solve(over_ground.range_km, radius_km, impl_->antenna.height_m(), height_m(altitude_ft));
  return {over_ground.range_km, upright.slant_km, over_ground.bearing_deg, upright.elevation_deg};
}

double Viewpoint::horizon_km(double bearing_deg, double altitude_ft) const noexcept {
  return site::horizon_km(impl_->curvature.along_km(bearing_deg), impl_->k,
                          impl_->antenna.height_m(), height_m(altitude_ft));
}

double Viewpoint::radius_km(double bearing_deg) const noexcept {
  return impl_->curvature.along_km(bearing_deg);
}

}  // namespace roundel::site
