#include "daemon/serve/sky.h"

#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "roundel/present/units.h"
#include "roundel/site/sightline.h"
#include "roundel/time.h"

namespace roundel::serve {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::int64_t track_s = 600, farthest_s = 3600;

struct Placed {
  schema::Cell cell;
  site::Overground at;
};

double rounded(double value, double per_unit) { return std::round(value * per_unit) / per_unit; }

Json json_of(const Placed& placed) {
  return {{"time", format_time(static_cast<double>(placed.cell.window * schema::window_s))},
          {"range_km", rounded(placed.at.range_km, 10)},
          {"bearing_deg", rounded(placed.at.bearing_deg, 10)},
          {"altitude_ft", placed.cell.altitude_ft},
          {"heard", placed.cell.heard},
          {"expected", placed.cell.expected}};
}

struct Sky {
  std::map<schema::Id, std::vector<Placed>> tracks;
  std::optional<Placed> farthest;
};

Result<Sky> look(const schema::Store& store, const site::Viewpoint& viewpoint, std::int64_t to_s) {
  Sky out;
  const std::int64_t first_window = (to_s - track_s) / schema::window_s;
  schema::Selection which;
  which.from_s = static_cast<double>(to_s - farthest_s);
  auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    const Placed placed{cell, viewpoint.over(cell.latitude_deg, cell.longitude_deg)};
    if (cell.heard > 0 && (!out.farthest || placed.at.range_km > out.farthest->at.range_km))
      out.farthest = placed;
    if (cell.window >= first_window) out.tracks[cell.flight].push_back(placed);
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  return out;
}

}  // namespace

Result<Answer> sky(const Ask& ask, const schema::Store& store) {
  const auto span = store.cell_span();
  if (!span) return tl::unexpected(span.error());
  Json out{{"to", nullptr}, {"aircraft", Json::array()}, {"farthest", nullptr}};
  if (*span) {
    const auto viewpoint = site::Viewpoint::of(store, ask.expect.sea_level_hpa);
    if (!viewpoint) return tl::unexpected(viewpoint.error());
    const auto seen = look(store, *viewpoint, (*span)->to_s);
    if (!seen) return tl::unexpected(seen.error());
    std::vector<schema::Id> ids;
    for (const auto& [flight, track] : seen->tracks) ids.push_back(flight);
    if (seen->farthest) ids.push_back(seen->farthest->cell.flight);
    const auto flights = store.flights_of(ids);
    if (!flights) return tl::unexpected(flights.error());
    const auto address_of = [&](schema::Id id) {
      const schema::Flight* flight = schema::find_flight(*flights, id);
      return flight ? Json(present::address_text(flight->address)) : Json(nullptr);
    };
    out["to"] = format_time(static_cast<double>((*span)->to_s));
    for (const auto& [id, track] : seen->tracks) {
      Json cells = Json::array();
      for (const Placed& placed : track) cells.push_back(json_of(placed));
      out["aircraft"].push_back({{"address", address_of(id)}, {"track", std::move(cells)}});
    }
    if (seen->farthest) {
      out["farthest"] = json_of(*seen->farthest);
      out["farthest"]["address"] = address_of(seen->farthest->cell.flight);
    }
  }
  return Answer{.body = out.dump() + "\n"};
}

}  // namespace roundel::serve
