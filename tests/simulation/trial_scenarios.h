// Simulated comparisons, drifts, masts and separations with a known truth, one run of each.
#pragma once
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "roundel/simulate/scenario.h"
#include "roundel/trial/compare.h"
#include "roundel/trial/drift.h"
#include "roundel/trial/mast_fit.h"
#include "roundel/trial/separate.h"

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

/// What happens to the sensitivity, and when; step_db 0: nothing.
struct DriftCase {
  std::string name, what;
  double hours{}, mean_aircraft{};
  double step_db{};
  double width_deg = 360;  ///< of the bearings concerned
  double at_h = 0;         ///< 0: drawn by seed
};
const std::vector<DriftCase>& drift_cases();

struct DriftOutcome {
  trial::Drift drift;
  std::optional<trial::DriftChange> found;  ///< nearest to the truth, within 12 h and of its kind
  double true_h{};                          ///< hours from the start
  double late_h{}, error_db{};              ///< of what was found
  bool holds{};                             ///< its interval
  int others{};                             ///< changes reported besides
};
DriftOutcome run(const DriftCase& one, std::uint64_t seed);

struct SeparateCase {
  std::string name, what;
  std::function<simulate::Scenario(std::uint64_t seed)> make;
};
const std::vector<SeparateCase>& separate_cases();

struct SeparateOutcome {
  trial::Separation separation;
  /// Estimate less truth in the plane of cosine and sine, dB, of order 1; none: not identified.
  std::vector<double> antenna_error_db, mount_error_db;
  std::optional<double> receiver_error_db;  ///< first receiver less the second
  int intervals{}, holding{};               ///< of amplitudes, receiver and patterns
  int wrong{};  ///< orders called identified that are not, or the other way
};
SeparateOutcome run(const SeparateCase& one, std::uint64_t seed);

/// A mast of 50 mm diameter in a day of 40 aircraft; spacing_wavelengths 0: none.
struct MastCase {
  std::string name, what;
  double spacing_wavelengths{};
  double notch_db{};
};
const std::vector<MastCase>& mast_cases();

struct MastOutcome {
  trial::MastFit fit;
  double spacing_error{};  ///< relative
  double bearing_error_deg{};
  bool spacing_holds{}, bearing_holds{}, radius_holds{};
};
MastOutcome run(const MastCase& one, std::uint64_t seed);

}  // namespace roundel::calibration
