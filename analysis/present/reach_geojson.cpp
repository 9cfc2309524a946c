#include "analysis/present/json.h"
#include "analysis/present/reach_shapes.h"
#include "roundel/present/units.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

Json position(const EarthPoint& point) {
  return {rounded(point.longitude_deg, 6), rounded(point.latitude_deg, 6)};
}

Json geometry(const std::vector<EarthRing>& rings) {
  Json polygons = Json::array();
  for (const EarthRing& ring : rings) {
    Json points = Json::array();
    for (const EarthPoint& point : ring) points.push_back(position(point));
    polygons.push_back(Json::array({std::move(points)}));
  }
  const bool one = polygons.size() == 1;
  return {{"type", one ? "Polygon" : "MultiPolygon"},
          {"coordinates", one ? polygons[0] : polygons}};
}

Json feature(Json shape, Json properties) {
  return {
      {"type", "Feature"}, {"geometry", std::move(shape)}, {"properties", std::move(properties)}};
}

Json sector_properties(const Conclusion& of, std::size_t i, const std::string& name) {
  const auto& sector = of.reach.sectors[i];
  const auto& far = *sector.farthest;  // or there would be no shape
  Json out{{"kind", "sector"}, {"name", name}, {"bearing_deg", sector.bearing_deg}};
  if (of.verdict) {
    const auto& judged = of.verdict->sectors[i];
    out["gain_db"] = or_null(judged.gain_db, 3);
    out["gain_low_db"] = or_null(judged.low_db, 3);
    out["gain_high_db"] = or_null(judged.high_db, 3);
    out["state"] = name_of(judged.state);
    out["cutoff_deg"] = or_null(judged.cutoff_deg, 2);
  }
  out["reach_km"] = rounded(far.range_km, 3);
  out["altitude_ft"] = rounded(far.altitude_ft, 0);
  out["horizon_km"] = rounded(far.horizon_km, 3);
  out["ratio"] = rounded(far.ratio(), 4);
  out["time"] = format_time(static_cast<double>(far.time_s));
  out["flights"] = sector.flights;
  out["cells"] = sector.cells;
  return out;
}

Json properties_of(const Conclusion& of, const ReachShape& shape) {
  if (shape.kind == ReachShape::Kind::sector) return sector_properties(of, shape.index, shape.name);
  Json out{{"kind", shape.kind == ReachShape::Kind::horizon ? "horizon" : "reach"},
           {"name", shape.name}};
  if (shape.kind == ReachShape::Kind::horizon) {
    const auto& line = of.reach.limits[shape.index];
    out["altitude_ft"] = line.altitude_ft;
    out["mean_km"] = rounded(line.mean_km, 1);
    out["method"] = of.reach.limit_method;
    return out;
  }
  const auto& band = of.reach.sectors[0].by_altitude[shape.index];
  out["altitude_low_ft"] = band.low_ft;
  out["altitude_high_ft"] = or_null(band.high_ft, 0);
  std::int64_t flights = 0, cells = 0;
  for (const auto& sector : of.reach.sectors) {
    flights = std::max(flights, sector.by_altitude[shape.index].flights);
    cells += sector.by_altitude[shape.index].cells;
  }
  out["most_flights_in_a_sector"] = flights;
  out["cells"] = cells;
  return out;
}

}  // namespace

std::string reach_geojson(const Conclusion& of) {
  Json features = Json::array();
  features.push_back(feature(
      {{"type", "Point"}, {"coordinates", position(centre_of(of.site))}},
      {{"kind", "site"},
       {"name", of.site.name},
       {"about", of.about},
       {"ground_m", of.site.ground_m},
       {"antenna_m", of.site.antenna_m},
       {"flights", of.reach.flights},
       {"from",
        of.reach.from_s ? Json(format_time(static_cast<double>(*of.reach.from_s))) : Json(nullptr)},
       {"to",
        of.reach.to_s ? Json(format_time(static_cast<double>(*of.reach.to_s))) : Json(nullptr)}}));
  for (const ReachShape& shape : reach_shapes(of))
    features.push_back(feature(geometry(shape.rings), properties_of(of, shape)));
  return Json{{"type", "FeatureCollection"}, {"features", std::move(features)}}.dump() + "\n";
}

}  // namespace roundel::present
