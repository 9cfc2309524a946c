// What was concluded, in open formats for other programs: CSV, GeoJSON, KML.
#pragma once
#include <memory>
#include <string>

#include "roundel/pattern/reach.h"
#include "roundel/pattern/verdict.h"
#include "roundel/schema/store.h"

namespace roundel::present {

/// What was concluded about one selection.
struct Conclusion {
  std::string about;  ///< site and selection, for names: "Hill house, collinear"
  schema::SiteRow site;
  const pattern::Reach& reach;
  /// None where the selection holds several arrangements: ranges, but no gain. Sectors as reach's.
  const pattern::Verdict* verdict = nullptr;
};

/// One line a sector, clockwise from north, under a line of headings with units (RFC 4180; lines
/// end in CR LF). An empty field is not known. Bands of altitude have columns of their own.
std::string sectors_csv(const Conclusion& of);

/// A FeatureCollection (RFC 7946): the site; the horizon at each altitude; the outline of reach of
/// each band of altitude; each sector with gain, state and reach. `kind` in the properties tells
/// which. Exterior rings run counterclockwise; what crosses the antimeridian is cut there.
std::string reach_geojson(const Conclusion& of);

/// The same as KML 2.3 (OGC 12-007r2), one folder a kind. Outlines float at the height above mean
/// sea level at which the aircraft flew that they are drawn from; pressure altitude is taken for
/// it.
std::string reach_kml(const Conclusion& of);

/// Cells as lines of CSV with everything a row needs to be understood alone: equipment by name,
/// range, bearing and elevation as seen from the antenna.
class CellsCsv {
 public:
  /// Errc: not_found (no site; a name in the selection) and those of the store.
  static Result<CellsCsv> make(const schema::Store& store, const schema::Selection& which);
  CellsCsv(CellsCsv&&) noexcept;
  CellsCsv& operator=(CellsCsv&&) noexcept;
  ~CellsCsv();

  /// The headings, ended.
  static std::string heading();
  /// Adds the line of one cell of the selection.
  void append(const schema::Cell& cell, std::string& to) const;

 private:
  struct Impl;
  explicit CellsCsv(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// Describes these columns to a program: metadata of CSV on the Web (W3C Recommendation,
/// 2015-12-17), with the files' place as a glob pattern. Ends with a line feed.
std::string cells_schema(const std::string& about);

/// Views for SQLite over a database attached as `roundel`: in plain units, with what they mean as
/// comments. The text of analysis/present/views.sql.
std::string_view views_sql();

}  // namespace roundel::present
