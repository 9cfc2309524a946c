#include "roundel/site/terrain.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <numbers>

#include "roundel/site/expect.h"
#include "roundel/site/tile.h"

namespace roundel::site {
namespace {

constexpr double latitude_deg = 52.5, longitude_deg = 19.5;
const schema::SiteRow site{"Hill house", latitude_deg, longitude_deg, 100, 10, 100};

std::vector<unsigned char> tile_bytes(std::int16_t height_m, int side = 1201) {
  std::vector<unsigned char> bytes;
  for (int i = 0; i < side * side; ++i) {
    bytes.push_back(static_cast<unsigned char>(static_cast<std::uint16_t>(height_m) >> 8));
    bytes.push_back(static_cast<unsigned char>(height_m & 0xff));
  }
  return bytes;
}

void put(std::vector<unsigned char>& bytes, int row, int column, std::int16_t height_m) {
  const auto at = static_cast<std::size_t>(2 * (row * 1201 + column));
  bytes[at] = static_cast<unsigned char>(static_cast<std::uint16_t>(height_m) >> 8);
  bytes[at + 1] = static_cast<unsigned char>(height_m & 0xff);
}

TEST(Tile, RowsRunFromTheNorthAndNumbersAreBigEndian) {
  auto bytes = tile_bytes(0);
  put(bytes, 0, 0, 258);       // north-west
  put(bytes, 1200, 1200, -5);  // south-east
  const auto tile = Tile::parse(bytes, "t");
  ASSERT_TRUE(tile);
  EXPECT_EQ(tile->height_m(1, 0), 258);
  EXPECT_EQ(tile->height_m(0, 1), -5);
  EXPECT_NEAR(*tile->height_m(1 - 0.5 / 1200, 0), 129, 1e-6);
  EXPECT_EQ(Tile::name_of(-3, -71), "S03W071");
}

TEST(Tile, VoidsAreFilledFromTheirNeighboursOrNone) {
  auto bytes = tile_bytes(Tile::no_data);
  put(bytes, 600, 600, 40);
  const auto tile = Tile::parse(bytes, "t");
  ASSERT_TRUE(tile);
  EXPECT_EQ(tile->height_m(0.5 - 0.4 / 1200, 0.5 + 0.4 / 1200), 40);
  EXPECT_FALSE(tile->height_m(0.2, 0.2));
}

TEST(Tile, WhatIsWrongIsOneLine) {
  const std::vector<unsigned char> cut(2'884'801);
  EXPECT_EQ(
      Tile::parse(cut, "N52E019.hgt").error().line(),
      "N52E019.hgt: has 2884801 bytes, but an elevation tile has 2884802 or 25934402; fetch it "
      "again, or remove it");
  auto bytes = tile_bytes(0);
  put(bytes, 1, 2, 20'000);
  EXPECT_EQ(Tile::parse(bytes, "x.hgt").error().line(),
            "x.hgt: height 20000 m in row 2, column 3 is outside -500 to 9000; fetch it again, or "
            "remove it");
}

/// Local plane coordinates, km, good to a thousandth within 60 km.
struct Plane {
  double east_km, north_km;
};
Plane plane(double latitude, double longitude) {
  return {
      (longitude - longitude_deg) * 111.32 * std::cos(latitude * std::numbers::pi / 180) * 1.0021,
      (latitude - latitude_deg) * 111.27};
}

struct Hill {
  const char* name;
  Terrain::Height height;
  double bearing_deg, range_km, top_m;
};

// The tops are where geometry puts them; elevation by h / d - d / 2kR with the flattest k of the
// reference atmosphere (1.375 at the ground). A step of the profile is 93 m, of bearing 1 degree.
TEST(Terrain, FindsAnalyticHillsWithinTheGridsResolution) {
  const Hill hills[] = {
      {"cone",
       [](double la, double lo) {
         const auto p = plane(la, lo);
         return std::optional(100 +
                              std::max(0.0, 600 - 150 * std::hypot(p.east_km - 20, p.north_km)));
       },
       90, 20, 600},
      {"ridge",
       [](double la, double lo) {
         const auto p = plane(la, lo);
         return std::optional(100 + std::max(0.0, 400 - 100 * std::abs(p.north_km - 15)));
       },
       0, 15, 400},
      {"Gaussian",
       [](double la, double lo) {
         const auto p = plane(la, lo);
         const double r = std::hypot(p.east_km, p.north_km + 30);
         return std::optional(100 + 800 * std::exp(-r * r / 18));
       },
       180, 30, 800},
  };
  const auto viewpoint = *Viewpoint::from(site);
  for (const Hill& hill : hills) {
    const auto terrain = Terrain::sample(hill.height, latitude_deg, longitude_deg, 100, 80, 0.0927);
    const auto skylines = terrain.skylines(Refraction(), viewpoint, 10);
    const auto& found = skylines[static_cast<std::size_t>(hill.bearing_deg)];
    ASSERT_FALSE(found.empty()) << hill.name;
    const double d = hill.range_km;
    const double expected_deg =
        ((hill.top_m - 10) / 1000 / d - d / (2 * 1.37 * 6380)) * 180 / std::numbers::pi;
    // The side of a slope 93 m before the top is at most 14 m lower: 0.04 degrees at 20 km.
    EXPECT_NEAR(found.elevation_deg(), expected_deg, 0.04) << hill.name;
    const auto behind = skylines[static_cast<std::size_t>(hill.bearing_deg + 90) % 360];
    EXPECT_LT(behind.elevation_deg(), 0.05 + expected_deg / 4) << hill.name;
  }
}

TEST(Terrain, AMountainHidesOnlyWhatIsBehindIt) {
  const Skyline mountain({{20, 5.0}});  // 1.75 km over the antenna
  const Refraction refraction;
  EXPECT_NEAR(mountain.limit_km(refraction, 6371, 10, 500), 20, 1e-9);  // lower than the top
  EXPECT_NEAR(mountain.limit_km(refraction, 6371, 10, 11'000),
              refraction.range_km(6371, 10, 5, 11'000), 1e-9);
  EXPECT_NEAR(Skyline().limit_km(refraction, 6371, 10, 500), refraction.horizon_km(6371, 10, 500),
              1e-9);
}

class Folder {
 public:
  Folder()
      : path(std::filesystem::temp_directory_path() /
             ("roundel_tiles_" + std::to_string(getpid()))) {
    std::filesystem::create_directories(path);
  }
  ~Folder() { std::filesystem::remove_all(path); }
  void write(const std::string& name, const std::vector<unsigned char>& bytes) const {
    std::ofstream(path / name, std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()),
               static_cast<std::streamsize>(bytes.size()));
  }
  std::filesystem::path path;
};

TEST(Terrain, NamesMissingTilesAndBadOnes) {
  const Folder folder;
  ExpectSettings settings;
  settings.terrain_folder = folder.path;
  settings.terrain_radius_km = 60;
  const auto empty = Expectation::make(site, settings);
  ASSERT_FALSE(empty);
  EXPECT_NE(empty.error().line().find("holds none of the"), std::string::npos);
  auto bytes = tile_bytes(100);
  folder.write("N52E019.hgt", bytes);
  const auto expectation = Expectation::make(site, settings);
  ASSERT_TRUE(expectation) << expectation.error().line();
  ASSERT_EQ(expectation->warnings().size(), 1u);
  EXPECT_NE(expectation->warnings()[0].find("N51E019"), std::string::npos);
  // Flat country is no obstacle.
  EXPECT_EQ(expectation->expected(90, 3'000).cause == LimitCause::terrain, false);
  bytes.resize(1000);
  folder.write("N52E019.hgt", bytes);
  EXPECT_FALSE(Expectation::make(site, settings));
}

// Rough country: every sample another height. Printed, not asserted: machines differ.
TEST(Terrain, Prints360BearingsTimes8AltitudesWithTerrain) {
  const auto terrain = Terrain::sample(
      [](double la, double lo) {
        return std::optional(200 + 150 * std::sin(la * 900) * std::sin(lo * 700));
      },
      latitude_deg, longitude_deg, 100, 150, 0.0927);
  const auto viewpoint = *Viewpoint::from(site);
  const Refraction refraction;
  const auto start = std::chrono::steady_clock::now();
  const auto skylines = terrain.skylines(refraction, viewpoint, 100);
  double sum_km = 0;
  for (int bearing = 0; bearing < 360; ++bearing)
    for (int i = 1; i <= 8; ++i)
      sum_km += skylines[static_cast<std::size_t>(bearing)].limit_km(
          refraction, viewpoint.radius_km(bearing), 100, 1500.0 * i);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  std::cout << "360 bearings x 8 altitudes: " << took.count() << " s\n";
  EXPECT_GT(sum_km, 0);
}

}  // namespace
}  // namespace roundel::site
