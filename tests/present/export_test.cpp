#include "roundel/present/export.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "analysis/present/earth_outline.h"
#include "tests/present/sample_reach.h"
#include "tests/present/well_formed.h"

namespace roundel::present {
namespace {

using nlohmann::json;
using testing::HasSubstr;

/// Like sample_reach(), anywhere on Earth; the shapes are drawn from ranges and bearings alone.
Conclusion at(const pattern::Reach& reach, double latitude_deg, double longitude_deg) {
  return {"Hill <house>", {"Hill <house>", latitude_deg, longitude_deg, 110, 12, 100}, reach};
}

/// Twice the signed area on the map, positive counterclockwise (the shoelace formula).
double turn(const json& ring) {
  double sum = 0;
  for (std::size_t i = 0; i + 1 < ring.size(); ++i)
    sum += ring[i][0].get<double>() * ring[i + 1][1].get<double>() -
           ring[i + 1][0].get<double>() * ring[i][1].get<double>();
  return sum;
}

/// What GDAL (its GEOS) makes of it: standard output of a shell line.
std::string shell(const std::string& line) {
  std::string out;
  FILE* pipe = popen((line + " 2>&1").c_str(), "r");
  std::array<char, 4096> block;
  for (std::size_t n; (n = fread(block.data(), 1, block.size(), pipe)) > 0;)
    out.append(block.data(), n);
  pclose(pipe);
  return out;
}

struct Place {
  const char* name;
  double latitude_deg, longitude_deg;
};
constexpr Place places[] = {{"mid-latitude", 52.1, 19.4},     {"antimeridian, east", -17, 179.5},
                            {"antimeridian, west", 65, -179}, {"north pole", 89, 30},
                            {"south pole", -88.5, -170},      {"equator", 0, 0},
                            {"on the antimeridian", 10, 180}};

// RFC 7946: longitudes within 180 (3.1.1, common practice), closed rings of four or more (3.1.6),
// exterior rings counterclockwise (3.1.6), no part across the antimeridian (3.1.9).
TEST(ReachGeoJson, KeepsTheRulesOfRfc7946AllOverTheEarth) {
  const auto reach = sample_reach();
  for (const Place& place : places) {
    SCOPED_TRACE(place.name);
    const json all = json::parse(reach_geojson(at(reach, place.latitude_deg, place.longitude_deg)));
    EXPECT_EQ(all["type"], "FeatureCollection");
    std::size_t n_rings = 0;
    for (const json& feature : all["features"]) {
      const json& shape = feature["geometry"];
      if (shape["type"] == "Point") continue;
      const json polygons =
          shape["type"] == "Polygon" ? json::array({shape["coordinates"]}) : shape["coordinates"];
      for (const json& polygon : polygons) {
        ASSERT_EQ(polygon.size(), 1u) << "exterior ring only";
        const json& ring = polygon[0];
        ++n_rings;
        ASSERT_GE(ring.size(), 4u);
        EXPECT_EQ(ring.front(), ring.back());
        EXPECT_GT(turn(ring), 0) << feature["properties"]["name"];
        for (std::size_t i = 0; i < ring.size(); ++i) {
          EXPECT_LE(std::abs(ring[i][0].get<double>()), 180);
          EXPECT_LE(std::abs(ring[i][1].get<double>()), 90);
          if (i == 0 || std::abs(ring[i][1].get<double>()) > 89.9) continue;
          // An edge right over the pole turns by 180.
          EXPECT_LE(std::abs(ring[i][0].get<double>() - ring[i - 1][0].get<double>()), 180);
        }
      }
    }
    EXPECT_GE(n_rings, 3u + 4u + 68u) << "horizons, bands, sectors with traffic";
  }
}

// Areas by another program: the outline's is that of the sectors' pieces of a circle.
TEST(ReachGeoJson, HasValidShapesOfTheRightSizeForGdal) {
  const auto reach = sample_reach();
  const auto file =
      std::filesystem::temp_directory_path() / ("roundel_" + std::to_string(getpid()) + ".geojson");
  double expected_km2 = 0;
  for (const auto& sector : reach.sectors)
    if (const auto& far = sector.by_altitude[3].farthest)
      expected_km2 += 3.14159265 * far->range_km * far->range_km / 72;
  for (const Place& place : places) {
    if (std::abs(place.latitude_deg) > 80) continue;  // see the header
    SCOPED_TRACE(place.name);
    std::ofstream(file) << reach_geojson(at(reach, place.latitude_deg, place.longitude_deg));
    const std::string name = file.stem().string();
    EXPECT_THAT(shell("ogrinfo -ro -q -dialect SQLite -sql \"select count(*) as invalid from '" +
                      name + "' where not ST_IsValid(geometry)\" " + file.string()),
                HasSubstr("invalid (Integer) = 0\n"));
    const std::string told = shell(
        "ogrinfo -ro -q -dialect SQLite -sql \"select ST_Area(ST_Transform(geometry, 6933)) "
        "as area from '" +
        name + "' where name = 'reach above 29 000 ft'\" " + file.string());
    const auto figure = told.find("area (Real) = ");
    ASSERT_NE(figure, std::string::npos) << told;
    // EPSG:6933 keeps areas; a circle on the sphere is 1 - r^2 / 12 R^2
    // smaller than a plane one, 0.05 % at 450 km.
    EXPECT_NEAR(std::stod(told.substr(figure + 14)) / 1e6, expected_km2, 0.004 * expected_km2);
  }
  std::filesystem::remove(file);
}

TEST(ReachKml, IsReadByGdalAtTheHeightsFlown) {
  const auto reach = sample_reach();
  const auto file =
      std::filesystem::temp_directory_path() / ("roundel_" + std::to_string(getpid()) + ".kml");
  const std::string kml = reach_kml(at(reach, 52.1, 19.4));
  EXPECT_TRUE(is_well_formed(kml));
  EXPECT_THAT(kml, HasSubstr("xmlns=\"http://www.opengis.net/kml/2.3\""));
  EXPECT_THAT(kml, HasSubstr("<name>Hill &lt;house&gt;</name>"));
  std::ofstream(file) << kml;
  const std::string told = shell("ogrinfo -ro -q -al " + file.string());
  EXPECT_THAT(told, HasSubstr("Layer name: Radio horizon"));
  EXPECT_THAT(told, HasSubstr("Layer name: Reach by altitude"));
  EXPECT_THAT(told, HasSubstr("Layer name: Sectors"));
  // 38 000 ft = 11 582.4 m, the international foot being 0.3048 m.
  EXPECT_THAT(told, HasSubstr(" 11582"));
  EXPECT_THAT(told, HasSubstr("altitudeMode (String) = absolute"));
  std::filesystem::remove(file);
}

TEST(ReachKml, LeavesOutWhatHasNoTraffic) {
  pattern::Reach reach = sample_reach();
  for (auto& sector : reach.sectors) {
    sector.farthest.reset();
    for (auto& band : sector.by_altitude) band.farthest.reset();
  }
  const std::string kml = reach_kml(at(reach, 52.1, 19.4));
  EXPECT_TRUE(is_well_formed(kml));
  EXPECT_EQ(kml.find("<name>sector"), std::string::npos);
}

TEST(SectorsCsv, HasUnitsInItsHeadingsAndEmptyFieldsForUnknown) {
  const std::string csv = sectors_csv(at(sample_reach(), 52.1, 19.4));
  std::vector<std::string> lines;
  for (std::size_t from = 0; from < csv.size();) {
    const auto to = csv.find("\r\n", from);
    ASSERT_NE(to, std::string::npos) << "RFC 4180, section 2: lines end in CR LF";
    lines.push_back(csv.substr(from, to - from));
    from = to + 2;
  }
  ASSERT_EQ(lines.size(), 73u);
  EXPECT_THAT(lines[0], testing::StartsWith("bearing_from_deg,bearing_to_deg,gain_db,"));
  EXPECT_THAT(lines[0], HasSubstr(",reach_km,altitude_ft,horizon_km,ratio,"));
  const auto commas = std::count(lines[0].begin(), lines[0].end(), ',');
  for (const std::string& line : lines)
    EXPECT_EQ(std::count(line.begin(), line.end(), ','), commas);
  EXPECT_THAT(lines[52], testing::StartsWith("255.0,260.0,,,,,,,,,,,"));  // nobody flies there
}

TEST(EarthOutline, CutsAPieceOutOfACombInAsManyPartsAsItHas) {
  // A comb whose three teeth cross the meridian: one part west, three east of it.
  EarthRing comb{{179, 0, 0}};
  for (int tooth = 0; tooth < 3; ++tooth)
    for (const auto& [longitude, step] :
         {std::pair(179.5, 0.0), {181.0, 0.0}, {181.0, 1.0}, {179.5, 1.0}})
      comb.push_back({longitude, 2.0 * tooth + step, 0});
  comb.push_back({179, 5, 0});
  comb.push_back(comb.front());
  const auto parts = cut_at_antimeridian(comb);
  ASSERT_EQ(parts.size(), 4u);
  int east = 0;
  for (const auto& part : parts) {
    EXPECT_EQ(part.front().longitude_deg, part.back().longitude_deg);
    east += part[1].longitude_deg < 0 ? 1 : 0;
  }
  EXPECT_EQ(east, 3);
}

}  // namespace
}  // namespace roundel::present
