// What differs from site to site, drawn by seed.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string>

#include "roundel/simulate/scenario.h"
#include "roundel/simulate/simulate.h"
#include "roundel/site/sightline.h"

namespace roundel::calibration {

/// @param seed       of the scenario: traffic and reception
/// @param draw_seed  of the site's own figures: margin, softness, loss, spread of power, shadowing
simulate::Scenario drawn_site(std::uint64_t seed, std::uint64_t draw_seed, double hours);

/// What was recorded at a site, and from where.
struct Simulated {
  site::Viewpoint viewpoint;
  simulate::CellSet set;
  /// Hands every cell and its flight to what counts them.
  template <class Builder>
  void add_to(Builder& builder) const {
    for (const schema::Cell& cell : set.cells)
      builder.add(cell, set.flights[static_cast<std::size_t>(cell.flight - 1)]);
  }
};
/// Simulates; a scenario that cannot be is the suite's own mistake and ends it.
Simulated simulated(const simulate::Scenario& scenario, const std::string& name);

}  // namespace roundel::calibration
