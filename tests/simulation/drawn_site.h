// What differs from site to site, drawn by seed.
#pragma once
#include <cstdint>

#include "roundel/simulate/scenario.h"

namespace roundel::calibration {

/// @param seed       of the scenario: traffic and reception
/// @param draw_seed  of the site's own figures: margin, softness, loss, spread of power, shadowing
simulate::Scenario drawn_site(std::uint64_t seed, std::uint64_t draw_seed, double hours);

}  // namespace roundel::calibration
