#include "analysis/present/json.h"
#include "roundel/present/reach.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

/// Adds the keys of a farthest range, null where there is none.
void add_farthest(Json& to, const std::optional<pattern::Farthest>& farthest) {
  const auto* f = farthest ? &*farthest : nullptr;
  to["reach_km"] = f ? Json(rounded(f->range_km, 3)) : nullptr;
  to["altitude_ft"] = f ? Json(rounded(f->altitude_ft, 0)) : nullptr;
  to["horizon_km"] = f ? Json(rounded(f->horizon_km, 3)) : nullptr;
  to["ratio"] = f ? Json(rounded(f->ratio(), 4)) : nullptr;
  to["address"] = f ? Json(address_text(f->address)) : nullptr;
  to["time"] = f ? time_or_null(f->time_s) : nullptr;
}

Json farthest_json(const std::optional<pattern::Farthest>& farthest) {
  if (!farthest) return nullptr;
  Json out;
  out["bearing_deg"] = rounded(farthest->bearing_deg, 2);
  add_farthest(out, farthest);
  return out;
}

Json quartiles_json(const std::optional<pattern::Quartiles>& quartiles) {
  if (!quartiles) return nullptr;
  return {{"low", rounded(quartiles->low_km, 1)},
          {"median", rounded(quartiles->median_km, 1)},
          {"high", rounded(quartiles->high_km, 1)},
          {"flights", quartiles->flights}};
}

Json sector_json(const pattern::ReachSector& sector) {
  Json out;
  out["bearing_deg"] = sector.bearing_deg;
  add_farthest(out, sector.farthest);
  out["expected_km"] = or_null(sector.expected_km, 1);
  out["expected_limited_by"] =
      sector.expected_km ? Json(site::name_of(sector.expected_cause)) : Json(nullptr);
  const auto* half = sector.half_rate ? &*sector.half_rate : nullptr;
  out["half_rate_km"] = half ? Json(rounded(half->range_km, 1)) : nullptr;
  out["half_rate_low_km"] = half ? Json(rounded(half->low_km, 1)) : nullptr;
  out["half_rate_high_km"] = half ? or_null(half->high_km, 1) : nullptr;
  out["half_rate_flights"] = half ? Json(half->flights) : nullptr;
  out["first_heard_km"] = quartiles_json(sector.first_heard);
  out["last_heard_km"] = quartiles_json(sector.last_heard);
  out["flights"] = sector.flights;
  out["cells"] = sector.cells;
  out["by_altitude"] = Json::array();
  for (const auto& band : sector.by_altitude) {
    Json of;
    of["altitude_low_ft"] = band.low_ft;
    of["altitude_high_ft"] = or_null(band.high_ft, 0);
    add_farthest(of, band.farthest);
    of["flights"] = band.flights;
    of["cells"] = band.cells;
    out["by_altitude"].push_back(std::move(of));
  }
  return out;
}

}  // namespace

std::string reach_json(const pattern::Reach& reach) {
  Json out;
  // Both, so that changing units on the page asks nothing anew of a year's cells.
  out["sentence"] = reach_sentence(reach, Units::metric);
  out["sentence_aviation"] = reach_sentence(reach, Units::aviation);
  out["sector_deg"] = reach.sector_deg;
  out["limit_method"] = reach.limit_method;
  if (!reach.expected_method.empty()) out["expected_method"] = reach.expected_method;
  out["farthest"] = farthest_json(reach.farthest);
  out["sectors"] = Json::array();
  for (const auto& sector : reach.sectors) out["sectors"].push_back(sector_json(sector));
  out["limits"] = Json::array();
  for (const auto& line : reach.limits) {
    Json of;
    of["altitude_ft"] = line.altitude_ft;
    of["horizon_km"] = rounded(line.mean_km, 1);
    of["horizon_km_by_sector"] = Json::array();
    for (double range_km : line.range_km)
      of["horizon_km_by_sector"].push_back(rounded(range_km, 1));
    out["limits"].push_back(std::move(of));
  }
  out["beyond"]["cells"] = reach.beyond.cells;
  out["beyond"]["farthest"] = farthest_json(reach.beyond.farthest);
  out["beyond"]["hours"] = Json::array();
  for (const auto& hour : reach.beyond.hours)
    out["beyond"]["hours"].push_back({{"time", time_or_null(hour.hour_s)},
                                      {"flights", hour.flights},
                                      {"cells", hour.cells},
                                      {"heard_cells", hour.heard_cells}});
  out["flights"] = reach.flights;
  out["cells"] = reach.cells;
  out["reports"] = reach.reports;
  out["from"] = time_or_null(reach.from_s);
  out["to"] = time_or_null(reach.to_s);
  return out.dump();
}

}  // namespace roundel::present
