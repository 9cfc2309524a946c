// The calibration suite's worlds: simulated sites that depart from the plain one in a named way.
#pragma once
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/simulate/scenario.h"

namespace roundel::calibration {

/// What departs from a site drawn by seed. To add a world, add a row to the table in worlds.cpp.
struct World {
  std::string name;
  std::string what;  ///< in words, for the table
  std::string toml;  ///< keys of a scenario; bearings are turned by a different angle for each seed
};
const std::vector<World>& worlds();

/// What is done to the antenna of a world.
struct Pattern {
  std::string name;
  std::string what;
  void (*apply)(simulate::Scenario& scenario, std::uint64_t seed);
};
const std::vector<Pattern>& patterns();

/// The world of that name, or pattern. One that is not there ends the program and names them all.
const World& find_world(std::string_view name);
const Pattern& find_pattern(std::string_view name);

/// One site: a world as a seed draws it, with an antenna, for so long.
struct Site {
  World world;
  Pattern pattern;
  double days = 1;
  std::uint64_t seed = 1;
  /// Recorded flights to fly in place of drawn ones: around an ocean airport at 37.6 N 122.4 W.
  std::filesystem::path traffic{};

  /// Its name, for files and messages.
  std::string label() const;
};
simulate::Scenario scenario_of(const Site& site);

}  // namespace roundel::calibration
