// What a configuration says about the range to expect.
#pragma once
#include <filesystem>

#include "roundel/site/altitude.h"
#include "roundel/site/link.h"
#include "roundel/site/refraction.h"

namespace roundel::site {

/// The part of a configuration that `expect` reads.
struct ExpectSettings {
  RefractionSettings refraction;
  double sea_level_hpa = standard_hpa;
  Link link;
  std::filesystem::path mask_file;       ///< empty: none
  std::filesystem::path terrain_folder;  ///< empty: none
  double terrain_radius_km = 150;        ///< [1, 400]
};

}  // namespace roundel::site
