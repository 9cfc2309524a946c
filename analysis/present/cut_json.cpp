#include "analysis/present/json.h"
#include "roundel/present/units.h"
#include "roundel/present/vertical_cut.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

Json time_of(std::int64_t time_s) { return format_time(static_cast<double>(time_s)); }

Json points(const std::vector<pattern::CutPoint>& all) {
  Json out = Json::array();
  for (const auto& point : all)
    out.push_back(
        {{"range_km", rounded(point.range_km, 1)}, {"altitude_ft", rounded(point.altitude_ft, 0)}});
  return out;
}

}  // namespace

std::string cut_json(const pattern::Cut& cut) {
  Json out;
  out["bearing_deg"] = cut.bearing_deg;
  out["sector_deg"] = cut.sector_deg;
  out["range_step_km"] = cut.range_step_km;
  out["altitude_step_ft"] = cut.altitude_step_ft;
  out["bins"] = Json::array();
  for (const auto& bin : cut.bins)
    out["bins"].push_back({{"range_km", bin.middle.range_km},
                           {"altitude_ft", bin.middle.altitude_ft},
                           {"heard", bin.heard},
                           {"expected", bin.expected}});
  out["horizon"] = points(cut.horizon);
  out["horizon_method"] = cut.limit_method;
  out["elevations"] = Json::array();
  for (const auto& one : cut.elevations)
    out["elevations"].push_back(
        {{"elevation_deg", rounded(one.elevation_deg, 2)}, {"line", points(one.line)}});
  out["refraction"] = cut.refraction;
  out["state"] = cut.judged ? Json(name_of(cut.judged->state)) : Json(nullptr);
  out["cutoff_deg"] = or_null(cut.cutoff_deg(), 2);
  out["flights"] = Json::array();
  for (const auto& flight : cut.flights)
    out["flights"].push_back({{"address", address_text(flight.address)},
                              {"from", time_of(flight.from_s)},
                              {"to", time_of(flight.to_s)},
                              {"nearest_km", rounded(flight.nearest_km, 1)},
                              {"farthest_km", rounded(flight.farthest_km, 1)},
                              {"heard", flight.heard},
                              {"expected", flight.expected}});
  out["flights_in_all"] = cut.n_flights;
  out["hours"] = Json::array();
  for (const auto& hour : cut.hours)
    out["hours"].push_back(
        {{"time", time_of(hour.hour_s)}, {"heard", hour.heard}, {"expected", hour.expected}});
  out["cells"] = cut.n_cells;
  out["cells_beyond_horizon"] = cut.n_beyond;
  return out.dump();  // of a year, indented it is half as large again
}

}  // namespace roundel::present
