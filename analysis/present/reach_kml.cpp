#include <fmt/format.h>

#include "analysis/present/reach_shapes.h"
#include "analysis/present/style.h"
#include "analysis/present/svg.h"
#include "roundel/present/units.h"

namespace roundel::present {
namespace {

/// KML writes colours as alpha, blue, green, red.
std::string kml_colour(std::string_view colour, std::string_view alpha) {
  return fmt::format("{}{}{}{}", alpha, colour.substr(5, 2), colour.substr(3, 2),
                     colour.substr(1, 2));
}

void style(Svg& kml, const std::string& id, std::string_view line, std::string_view fill) {
  kml.open("Style", {{"id", id}});
  kml.open("LineStyle");
  kml.leaf("color", {}, kml_colour(line, "ff"));
  kml.leaf("width", {}, "2");
  kml.close();
  kml.open("PolyStyle");
  kml.leaf("color", {}, kml_colour(fill, "66"));
  kml.leaf("fill", {}, id == "horizon" ? "0" : "1");
  kml.close();
  kml.close();
}

std::string coordinates(const EarthRing& ring) {
  std::string out;
  for (const EarthPoint& point : ring)
    out += fmt::format("{}{:.6f},{:.6f},{:.0f}", out.empty() ? "" : " ", point.longitude_deg,
                       point.latitude_deg, point.height_m);
  return out;
}

std::string description(const Conclusion& of, const ReachShape& shape) {
  if (shape.kind == ReachShape::Kind::horizon)
    return fmt::format("{} on average, by {}",
                       range_in_both(Units::metric, of.reach.limits[shape.index].mean_km),
                       of.reach.limit_method);
  if (shape.kind == ReachShape::Kind::reach)
    return "farthest range that three reports of one flight support";
  const auto& sector = of.reach.sectors[shape.index];
  const auto& far = *sector.farthest;
  std::string out = fmt::format("{} at {}, {:.0f} % of the horizon; {} flights, {} cells",
                                range_in_both(Units::metric, far.range_km),
                                altitude_text(Units::aviation, far.altitude_ft), 100 * far.ratio(),
                                grouped(sector.flights), grouped(sector.cells));
  if (!of.verdict) return out;
  const auto& judged = of.verdict->sectors[shape.index];
  out += fmt::format("; {}", name_of(judged.state));
  if (judged.gain_db)
    out += fmt::format("; gain {:+.1f} dB ({:+.1f} to {:+.1f})", *judged.gain_db, *judged.low_db,
                       *judged.high_db);
  if (judged.cutoff_deg) out += fmt::format("; cut-off {:.1f} degrees", *judged.cutoff_deg);
  return out;
}

void placemark(Svg& kml, const Conclusion& of, const ReachShape& shape,
               const std::string& style_id) {
  kml.open("Placemark");
  kml.leaf("name", {}, shape.name);
  kml.leaf("description", {}, description(of, shape));
  kml.leaf("styleUrl", {}, "#" + style_id);
  kml.open("MultiGeometry");
  for (const EarthRing& ring : shape.rings) {
    kml.open("Polygon");
    kml.leaf("altitudeMode", {}, "absolute");
    kml.open("outerBoundaryIs");
    kml.open("LinearRing");
    kml.leaf("coordinates", {}, coordinates(ring));
    kml.close();
    kml.close();
    kml.close();
  }
  kml.close();
  kml.close();
}

}  // namespace

std::string reach_kml(const Conclusion& of) {
  Svg kml;
  kml.raw("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
  kml.open("kml", {{"xmlns", "http://www.opengis.net/kml/2.3"}, {"version", "2.3"}});
  kml.open("Document");
  kml.leaf("name", {}, of.about.empty() ? "Reach" : "Reach: " + of.about);
  const auto limit = look_of(Line::limit_3);
  style(kml, "horizon", limit.colour, limit.colour);
  style(kml, "reach", look_of(Fill::level_5).colour, look_of(Fill::level_3).colour);
  style(kml, "sector", look_of(Fill::level_4).colour, look_of(Fill::level_2).colour);
  kml.open("Placemark");
  kml.leaf("name", {}, of.site.name);
  kml.leaf("description", {},
           fmt::format("antenna {:.0f} m above ground at {:.0f} m", of.site.antenna_m,
                       of.site.ground_m));
  kml.open("Point");
  kml.leaf("altitudeMode", {}, "absolute");
  kml.leaf("coordinates", {}, coordinates({centre_of(of.site)}));
  kml.close();
  kml.close();
  const auto shapes = reach_shapes(of);
  struct Folder {
    ReachShape::Kind kind;
    const char* name;
    const char* style_id;
  };
  for (const Folder& folder : {Folder{ReachShape::Kind::horizon, "Radio horizon", "horizon"},
                               Folder{ReachShape::Kind::reach, "Reach by altitude", "reach"},
                               Folder{ReachShape::Kind::sector, "Sectors", "sector"}}) {
    kml.open("Folder");
    kml.leaf("name", {}, folder.name);
    kml.leaf("visibility", {}, folder.kind == ReachShape::Kind::sector ? "0" : "1");
    for (const ReachShape& shape : shapes)
      if (shape.kind == folder.kind) placemark(kml, of, shape, folder.style_id);
    kml.close();
  }
  kml.close();
  kml.close();
  return kml.take();
}

}  // namespace roundel::present
