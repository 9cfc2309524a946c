// Wall or antenna: the elevation below which a sector hears nothing, and whether that explains it.
#pragma once
#include <optional>
#include <vector>

#include "roundel/pattern/exposure.h"
#include "roundel/pattern/gain.h"

namespace roundel::pattern {

/// What one sector shows about an obstruction.
struct SectorCutoff {
  std::optional<double> cutoff_deg;  ///< only where a wall explains the sector better
  double low_deg{}, high_deg{};      ///< 95 % interval of cutoff_deg, jackknife over flights
  double log_ratio{};   ///< log likelihood, wall over weak antenna, summed over flights
  double z{};           ///< log_ratio over its spread between flights
  double leak{};        ///< share of the level's reports still heard below, 0 .. 0.5
  int flights{};        ///< flights seen, or expected, below 12 degrees
  int flights_below{};  ///< of those, with chances below the cut-off
};

struct CutoffOptions {
  double least_deg = 0.7;  ///< lower than this it is the horizon itself, softened
  double least_z = 2.5;    ///< evidence, in standard errors between flights
  double least_log_ratio = 12;
  int least_flights = 6;
};

/// For each sector two explanations of what was heard below 12 degrees are compared:
///   weak antenna: p = pm logistic((G + flight + x) / w), G free
///   wall:         the same above the cut-off c, and leak times that below it; G, c, leak free
/// on recorded, inferred and `beyond` cells (these at a weight of a quarter: some aircraft really
/// did turn away). Each cell counts as 3 independent chances, not 20: fading lasts. The choice is
/// Vuong's test (1989, Econometrica 57:307; from memory) with flights as the units. A wall cuts
/// contact at one elevation whatever the range, want of signal at one range whatever the elevation.
std::vector<SectorCutoff> find_cutoffs(const Exposure& exposure, const LevelFit& rate,
                                       const Throttle& throttle, const CutoffOptions& options = {});

/// The elevation up to which a wall may reach in each sector, for estimates that must not take it
/// for weakness: an edge is soft, rises and falls, and ends inside a sector, so the highest of a
/// sector's own and its neighbours' counts; and between two walls up to 30 degrees apart the higher
/// one is taken to go on.
std::vector<std::optional<double>> wall_edges(const std::vector<SectorCutoff>& cutoffs);

}  // namespace roundel::pattern
