#include <algorithm>
#include <cmath>

#include "roundel/pattern/exposure.h"
#include "roundel/simulate/simulate.h"
#include "tests/simulation/drawn_site.h"
#include "tests/simulation/trial_scenarios.h"

namespace roundel::calibration {

using simulate::Scenario;

const std::vector<DriftCase>& drift_cases() {
  static const std::vector<DriftCase> all{
      {"steady-7d", "steady week, 15 aircraft", 168, 15, 0},
      {"steady-40", "steady week, 40 aircraft", 168, 40, 0},
      {"step-6d", "loss of 1.5 dB within six days, 15 aircraft", 144, 15, -1.5},
      {"late-6d", "loss of 1.5 dB, 12 h before the end of six days, 15 aircraft", 144, 15, -1.5,
       360, 132},
      {"obstacle-6d", "obstacle of 4 dB over 60 degrees within six days, 15 aircraft", 144, 15, -4,
       60},
  };
  return all;
}

DriftOutcome run(const DriftCase& one, std::uint64_t seed) {
  Scenario scenario = drawn_site(seed, seed * 6833 + 5, one.hours);
  scenario.traffic.mean_aircraft = one.mean_aircraft;
  DriftOutcome out;
  // Where the case does not say: anywhere in the middle half.
  out.true_h = one.at_h > 0
                   ? one.at_h
                   : one.hours * (0.25 + 0.5 * static_cast<double>((seed * 37) % 100) / 100);
  const double from_deg = static_cast<double>((seed * 53) % 360);
  if (one.step_db != 0 && one.width_deg < 360)
    scenario.obstacles.push_back(
        {from_deg, std::fmod(from_deg + one.width_deg, 360), -one.step_db, out.true_h, {}});
  else if (one.step_db != 0)
    scenario.steps.push_back({out.true_h, one.step_db});
  const Simulated recorded = simulated(scenario, one.name);
  pattern::ExposureBuilder builder(recorded.viewpoint, 5);
  recorded.add_to(builder);
  out.drift = trial::find_drift(builder.finish());
  for (const trial::DriftChange& change : out.drift.changes) {
    const double late_h =
        (static_cast<double>(change.time_s) - scenario.start_s) / 3600 - out.true_h;
    // Of its kind is what names some of its bearings; its size is to be what the obstacle takes,
    // whatever else is named beside.
    double concerned = 0;
    for (const double bearing : change.bearings_deg)
      concerned += std::fmod(bearing - from_deg + 360, 360) < one.width_deg ? 1 : 0;
    const bool is_all = change.bearings_deg.empty();
    const double share = is_all ? 1 : concerned / static_cast<double>(change.bearings_deg.size());
    const bool is_of_its_kind = is_all == (one.width_deg >= 360);
    if (one.step_db == 0 || std::abs(late_h) > 12 || !is_of_its_kind || share < 0.3) {
      ++out.others;
      continue;
    }
    if (out.found && std::abs(out.late_h) <= std::abs(late_h)) continue;
    out.found = change;
    out.late_h = late_h;
    out.error_db = change.step_db - one.step_db;
    out.holds = one.step_db >= change.low_db && one.step_db <= change.high_db;
  }
  return out;
}

}  // namespace roundel::calibration
