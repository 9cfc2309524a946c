#include "analysis/present/reach_shapes.h"

#include <fmt/format.h>

#include "roundel/present/units.h"
#include "roundel/site/sightline.h"

namespace roundel::present {
namespace {

double height_m(double altitude_ft) { return altitude_ft * site::metres_per_foot; }

std::optional<Extent> extent_of(const std::optional<pattern::Farthest>& farthest) {
  if (!farthest || farthest->range_km <= 0) return std::nullopt;
  return Extent{farthest->range_km, height_m(farthest->altitude_ft)};
}

std::string band_name(const pattern::ReachBand& band) {
  if (!band.high_ft) return "reach above " + altitude_text(Units::aviation, band.low_ft);
  if (band.low_ft == 0) return "reach below " + altitude_text(Units::aviation, *band.high_ft);
  return fmt::format("reach {} to {}", grouped(std::lround(band.low_ft)),
                     altitude_text(Units::aviation, *band.high_ft));
}

}  // namespace

EarthPoint centre_of(const schema::SiteRow& site) {
  return {site.longitude_deg, site.latitude_deg, site.ground_m + site.antenna_m};
}

std::vector<ReachShape> reach_shapes(const Conclusion& of) {
  const EarthPoint centre = centre_of(of.site);
  const auto& sectors = of.reach.sectors;
  std::vector<ReachShape> out;
  const auto add = [&](ReachShape::Kind kind, std::size_t index, std::string name,
                       const std::vector<std::optional<Extent>>& extents) {
    auto rings = earth_outline(centre, extents);
    if (!rings.empty()) out.push_back({kind, index, std::move(name), std::move(rings)});
  };
  for (std::size_t i = 0; i < of.reach.limits.size(); ++i) {
    const auto& line = of.reach.limits[i];
    std::vector<std::optional<Extent>> extents;
    for (const double range_km : line.range_km)
      extents.push_back(Extent{range_km, height_m(line.altitude_ft)});
    add(ReachShape::Kind::horizon, i,
        "horizon at " + altitude_text(Units::aviation, line.altitude_ft), extents);
  }
  const std::size_t n_bands = sectors.empty() ? 0 : sectors[0].by_altitude.size();
  for (std::size_t band = 0; band < n_bands; ++band) {
    std::vector<std::optional<Extent>> extents;
    for (const auto& sector : sectors)
      extents.push_back(extent_of(sector.by_altitude[band].farthest));
    add(ReachShape::Kind::reach, band, band_name(sectors[0].by_altitude[band]), extents);
  }
  const double half_deg = of.reach.sector_deg / 2;
  for (std::size_t i = 0; i < sectors.size(); ++i) {
    std::vector<std::optional<Extent>> extents(sectors.size());
    extents[i] = extent_of(sectors[i].farthest);
    add(ReachShape::Kind::sector, i,
        fmt::format("sector {} to {}", bearing_text(sectors[i].bearing_deg - half_deg),
                    bearing_text(sectors[i].bearing_deg + half_deg)),
        extents);
  }
  return out;
}

}  // namespace roundel::present
