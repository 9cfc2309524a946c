#include "roundel/site/terrain.h"

#include <fmt/format.h>

#include <GeographicLib/Geodesic.hpp>
#include <GeographicLib/GeodesicLine.hpp>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <fstream>
#include <map>

#include "roundel/site/path.h"
#include "roundel/site/tile.h"

namespace roundel::site {
namespace {

/// Within it 1 arc-second tiles are kept whole.
constexpr double fine_km = 30;
/// Between these, positions along a bearing come from the geodesic; between them from the straight
/// line in latitude and longitude, which departs by 0.1 m at 52 degrees.
constexpr double leg_km = 2;
constexpr double arc_second_km = 0.0309;

/// Steps outwards: the grid's spacing, then a thousandth of the range.
std::vector<double> ranges_to(double radius_km, double spacing_km) {
  std::vector<double> ranges_km;
  for (double range_km = spacing_km; range_km <= radius_km;
       range_km += std::max(spacing_km, range_km / 1000))
    ranges_km.push_back(range_km);
  return ranges_km;
}

struct Corner {
  int south_deg, west_deg;
  friend auto operator<=>(const Corner&, const Corner&) = default;
};

Corner corner_of(double latitude_deg, double longitude_deg) {
  return {std::min(static_cast<int>(std::floor(latitude_deg)), 89),
          static_cast<int>(std::floor(wrap_longitude_deg(longitude_deg)))};
}

/// Every tile that a circle touches, by the places on its bearings.
std::map<Corner, double> corners_within(double latitude_deg, double longitude_deg,
                                        double radius_km) {
  std::map<Corner, double> nearest_km;
  const auto& ellipsoid = GeographicLib::Geodesic::WGS84();
  for (int bearing = 0; bearing < Terrain::bearings; ++bearing) {
    const auto line = ellipsoid.Line(latitude_deg, longitude_deg, bearing);
    for (double range_km = 0; range_km < radius_km + leg_km; range_km += leg_km) {
      double latitude{}, longitude{};
      line.Position(1000 * std::min(range_km, radius_km), latitude, longitude);
      const auto [at, is_new] = nearest_km.try_emplace(corner_of(latitude, longitude), range_km);
      if (!is_new) at->second = std::min(at->second, range_km);
    }
  }
  return nearest_km;
}

std::optional<std::filesystem::path> tile_file(const std::filesystem::path& folder,
                                               const std::string& name) {
  std::string lower = name;
  std::transform(lower.begin(), lower.end(), lower.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  std::error_code error;
  for (const std::string& file : {name + ".hgt", name + ".HGT", lower + ".hgt"})
    if (std::filesystem::is_regular_file(folder / file, error)) return folder / file;
  return {};
}

Result<Tile> read_tile(const std::filesystem::path& file, bool thin) {
  std::ifstream in(file, std::ios::binary | std::ios::ate);
  if (!in) return fail(Errc::io, "cannot be read", file.string(), "check its permissions");
  constexpr std::streamoff largest = 64 << 20;
  const std::streamoff size = in.tellg();
  if (size < 0 || size > largest)
    return fail(Errc::malformed, "is far too large for an elevation tile", file.string(),
                "remove it");
  std::vector<unsigned char> bytes(static_cast<std::size_t>(size));
  in.seekg(0);
  in.read(reinterpret_cast<char*>(bytes.data()), size);
  if (in.gcount() != size) return fail(Errc::io, "cannot be read to its end", file.string());
  return Tile::parse(bytes, file.string(), thin);
}

}  // namespace

Terrain Terrain::sample(const Height& height, double latitude_deg, double longitude_deg,
                        double surface_m, double radius_km, double spacing_km) {
  Terrain made;
  made.radius_km_ = radius_km;
  made.ranges_km_ = ranges_to(radius_km, spacing_km);
  made.ground_m_ = height(latitude_deg, longitude_deg);
  made.heights_m_.reserve(made.ranges_km_.size() * bearings);
  const auto& ellipsoid = GeographicLib::Geodesic::WGS84();
  for (int bearing = 0; bearing < bearings; ++bearing) {
    const auto line = ellipsoid.Line(latitude_deg, longitude_deg, bearing);
    Place from, to;
    double from_km = -leg_km;
    const auto place_at = [&](double range_km) {
      Place place;
      line.Position(1000 * range_km, place.latitude_deg, place.longitude_deg);
      return place;
    };
    for (const double range_km : made.ranges_km_) {
      if (range_km >= from_km + leg_km || from_km < 0) {
        from_km = leg_km * std::floor(range_km / leg_km);
        from = place_at(from_km);
        to = place_at(from_km + leg_km);
      }
      const double part = (range_km - from_km) / leg_km;
      const double latitude = from.latitude_deg + part * (to.latitude_deg - from.latitude_deg);
      const double longitude =
          from.longitude_deg +
          part * longitude_difference_deg(to.longitude_deg, from.longitude_deg);
      const auto found = height(latitude, wrap_longitude_deg(longitude));
      made.voids_ += !found;
      made.heights_m_.push_back(found ? static_cast<float>(*found - surface_m) : 0);
    }
  }
  return made;
}

Result<Terrain> Terrain::read(const std::filesystem::path& folder, double latitude_deg,
                              double longitude_deg, double surface_m, double radius_km) {
  assert(radius_km >= 1 && radius_km <= 400);
  std::error_code error;
  if (!std::filesystem::is_directory(folder, error))
    return fail(Errc::not_found, "there is no such folder of elevation tiles", folder.string(),
                "make it, and fill it with tiles such as " +
                    Tile::name_of(static_cast<int>(std::floor(latitude_deg)),
                                  static_cast<int>(std::floor(longitude_deg))) +
                    ".hgt");
  std::map<Corner, std::optional<Tile>> tiles;
  std::vector<std::string> missing;
  int n_tiles = 0;
  double spacing_km = 3 * arc_second_km;
  for (const auto& [corner, nearest_km] : corners_within(latitude_deg, longitude_deg, radius_km)) {
    const std::string name = Tile::name_of(corner.south_deg, corner.west_deg);
    const auto file = tile_file(folder, name);
    if (!file) {
      missing.push_back(name);
      tiles.emplace(corner, std::nullopt);
      continue;
    }
    auto tile = read_tile(*file, nearest_km > fine_km);
    if (!tile) return tl::unexpected(tile.error());
    if (tile->side() > 1201) spacing_km = arc_second_km;
    tiles.emplace(corner, std::move(*tile));
    ++n_tiles;
  }
  if (n_tiles == 0)
    return fail(Errc::not_found,
                fmt::format("holds none of the {} elevation tiles within {:.0f} km", missing.size(),
                            radius_km),
                folder.string(), "fetch those named like " + missing.front() + ".hgt");
  Corner last_corner{-100, 0};
  const Tile* last_tile = nullptr;
  Terrain made = sample(
      [&](double latitude, double longitude) -> std::optional<double> {
        const Corner corner = corner_of(latitude, longitude);
        if (corner != last_corner) {
          const auto found = tiles.find(corner);
          last_corner = corner;
          last_tile = found != tiles.end() && found->second ? &*found->second : nullptr;
        }
        if (!last_tile) return {};
        return last_tile->height_m(latitude - corner.south_deg,
                                   wrap_longitude_deg(longitude) - corner.west_deg);
      },
      latitude_deg, longitude_deg, surface_m, radius_km, spacing_km);
  made.missing_ = std::move(missing);
  made.tiles_ = n_tiles;
  return made;
}

}  // namespace roundel::site
