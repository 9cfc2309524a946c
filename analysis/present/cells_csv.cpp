#include <algorithm>
#include <array>
#include <map>
#include <vector>

#include "analysis/present/csv.h"
#include "analysis/present/json.h"
#include "roundel/present/export.h"
#include "roundel/present/units.h"
#include "roundel/site/sightline.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

struct Column {
  const char* name;
  const char* datatype;  ///< of W3C's tabular metadata
  bool required;         ///< never empty
  const char* meaning;
};

constexpr std::array columns{
    Column{"time", "dateTime", true, "start of the 10 s cell, UTC, on the feed's clock"},
    Column{"time_s", "integer", true, "the same in seconds since 1970-01-01T00:00:00Z"},
    Column{"trial", "integer", true, "number of the trial"},
    Column{"feed", "string", true, "name of the feed"},
    Column{"antenna", "string", true, "what was mounted"},
    Column{"receiver", "string", true, "what it was on"},
    Column{"mount", "string", true, "where it was mounted"},
    Column{"rotation_deg", "number", true, "of the antenna on its mount, clockwise"},
    Column{"flight", "integer", true,
           "number of the flight: one aircraft without a break of more than 30 min; the unit of "
           "independence"},
    Column{"address", "string", true, "ICAO 24-bit address in hex, or a keyed hash of it"},
    Column{"heard", "integer", true, "reports that got through; 0: a silent cell"},
    Column{"expected", "integer", true, "reports that were sent, 20 in a whole cell"},
    Column{"latitude_deg", "number", true, "mean position, WGS 84; interpolated where silent"},
    Column{"longitude_deg", "number", true, "mean position, WGS 84; interpolated where silent"},
    Column{"altitude_ft", "number", true, "pressure altitude, mean"},
    Column{"signal_dbfs", "number", false, "mean level; empty: silent, or the feed has none"},
    Column{"uncertainty_km", "number", true,
           "of an inferred position; 0: measured, or interpolated over at most 5 min"},
    Column{"range_km", "number", true, "from the antenna, along the ground"},
    Column{"bearing_deg", "number", true, "from the antenna, clockwise from true north"},
    Column{"elevation_deg", "number", true,
           "above the antenna's horizontal, with 4/3-Earth refraction"},
};

}  // namespace

struct CellsCsv::Impl {
  site::Viewpoint viewpoint;
  std::vector<schema::Flight> flights;  // by id
  std::map<schema::Id, schema::Trial> trials;
};

CellsCsv::CellsCsv(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
CellsCsv::CellsCsv(CellsCsv&&) noexcept = default;
CellsCsv& CellsCsv::operator=(CellsCsv&&) noexcept = default;
CellsCsv::~CellsCsv() = default;

Result<CellsCsv> CellsCsv::make(const schema::Store& store, const schema::Selection& which) {
  auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  auto impl = std::make_unique<Impl>(Impl{std::move(*viewpoint), std::move(*flights), {}});
  for (const auto& trial : *trials) impl->trials[trial.id] = trial;
  return CellsCsv(std::move(impl));
}

std::string CellsCsv::heading() {
  std::string out;
  CsvWriter csv(out);
  for (const Column& column : columns) csv.text(column.name);
  csv.end();
  return out;
}

void CellsCsv::append(const schema::Cell& cell, std::string& to) const {
  const auto* flight = schema::find_flight(impl_->flights, cell.flight);
  if (!flight) return;
  const auto trial = impl_->trials.find(flight->trial);
  if (trial == impl_->trials.end()) return;
  const schema::Trial& of = trial->second;
  const std::int64_t time_s = cell.window * schema::window_s;
  const site::Sightline sight =
      impl_->viewpoint.to(cell.latitude_deg, cell.longitude_deg, cell.altitude_ft);
  CsvWriter csv(to);
  csv.text(format_time(static_cast<double>(time_s))).whole(time_s).whole(of.id);
  csv.text(of.feed).text(of.antenna).text(of.receiver).text(of.mount).number(of.rotation_deg, 1);
  csv.whole(cell.flight).text(address_text(flight->address));
  csv.whole(cell.heard).whole(cell.expected);
  csv.number(cell.latitude_deg, 4).number(cell.longitude_deg, 4).number(cell.altitude_ft, 0);
  csv.number(cell.signal_dbfs, 1).number(cell.uncertainty_km, 1);
  csv.number(sight.range_km, 3).number(sight.bearing_deg, 2).number(sight.elevation_deg, 3);
  csv.end();
}

std::string cells_schema(const std::string& about) {
  Json out;
  out["@context"] = "http://www.w3.org/ns/csvw";
  out["url"] = "day=*/cells.csv.gz";
  out["dc:title"] = about.empty() ? "Cells" : "Cells: " + about;
  out["dc:description"] =
      "One aircraft in one 10 s window of one trial. Partitioned by day (UTC): folders named "
      "day=YYYY-MM-DD, each with one CSV file, compressed by gzip (RFC 1952).";
  out["dialect"] = {{"header", true}, {"delimiter", ","}, {"lineTerminators", {"\r\n"}}};
  out["tableSchema"]["columns"] = Json::array();
  for (const Column& column : columns) {
    Json one;
    one["name"] = column.name;
    one["titles"] = column.name;
    one["datatype"] = column.datatype;
    one["required"] = column.required;
    one["dc:description"] = column.meaning;
    out["tableSchema"]["columns"].push_back(std::move(one));
  }
  out["tableSchema"]["primaryKey"] = {"time_s", "flight"};
  return out.dump(2) + "\n";
}

}  // namespace roundel::present
