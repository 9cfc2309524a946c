// Simulated comparisons, drifts, masts and separations with a known truth, one run of each.
#pragma once
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "roundel/simulate/scenario.h"
#include "roundel/trial/compare.h"

namespace roundel::calibration {

struct CompareCase {
  std::string name, what;
  std::function<simulate::Scenario(std::uint64_t seed)> make;
};
const std::vector<CompareCase>& compare_cases();

struct CompareOutcome {
  trial::Comparison comparison;
  double true_db{};               ///< mean over bearings
  int intervals{}, holding{};     ///< of sectors
  int significant{}, in_notch{};  ///< sectors; those truly different by 2 dB or more
  int notch{};                    ///< sectors truly different by 2 dB or more
  bool holds{};                   ///< overall
};
/// Trials 1, 3, .. of the scenario are a's, the others b's.
CompareOutcome run(const CompareCase& one, std::uint64_t seed);

}  // namespace roundel::calibration
