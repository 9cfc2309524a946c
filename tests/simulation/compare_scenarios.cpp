#include <cmath>

#include "roundel/simulate/simulate.h"
#include "tests/simulation/drawn_site.h"
#include "tests/simulation/trial_scenarios.h"

namespace roundel::calibration {

using simulate::Scenario;

namespace {

Scenario site(std::uint64_t seed, double hours, double mean_aircraft) {
  Scenario s = drawn_site(seed, seed * 6361 + 17, hours);
  s.traffic.mean_aircraft = mean_aircraft;
  return s;
}

Scenario two_at_once(std::uint64_t seed, double hours, double offset_db) {
  Scenario s = site(seed, hours, 40);
  s.antenna("collinear").gain_db = offset_db;
  s.antenna("spider");
  s.receiver("rx1");
  s.receiver("rx2");
  s.trial({"roof", "collinear", "rx1", "", 0, 0, {}});
  s.trial({"shed", "spider", "rx2", "", 0, 0, {}});
  return s;
}

}  // namespace

const std::vector<CompareCase>& compare_cases() {
  static const std::vector<CompareCase> all{
      {"equal-12h", "two at once, 12 h, equal", [](auto seed) { return two_at_once(seed, 12, 0); }},
      {"better-12h", "two at once, 12 h, a better by 1.4 dB",
       [](auto seed) { return two_at_once(seed, 12, 1.4); }},
      {"notch-12h", "two at once, 12 h, a with a 4 dB notch over 50 degrees",
       [](auto seed) {
         Scenario s = two_at_once(seed, 12, 0);
         s.antenna("collinear").notch(static_cast<double>((seed * 53) % 360), 50, 4);
         return s;
       }},
      {"after-3d", "one after the other, three days each, a better by 1 dB",
       [](auto seed) {
         Scenario s = site(seed, 144, 40);
         s.antenna("collinear").gain_db = 1;
         s.antenna("spider");
         s.trial({"roof", "collinear", "", "", 0, 0, 72});
         s.trial({"roof", "spider", "", "", 0, 72, 144});
         return s;
       }},
      {"swap-24h", "two at once, receivers (2 dB apart) swapped after 12 h, a better by 1 dB",
       [](auto seed) {
         Scenario s = two_at_once(seed, 24, 1);
         s.receiver("rx1").offset_db = 2;
         s.trials.clear();
         s.trial({"roof", "collinear", "rx1", "", 0, 0, 12});
         s.trial({"shed", "spider", "rx2", "", 0, 0, 12});
         s.trial({"shed", "collinear", "rx2", "", 0, 12, 24});
         s.trial({"roof", "spider", "rx1", "", 0, 12, 24});
         return s;
       }},
  };
  return all;
}

CompareOutcome run(const CompareCase& one, std::uint64_t seed) {
  const Scenario scenario = one.make(seed);
  const Simulated recorded = simulated(scenario, one.name);
  trial::CompareSide a{"a", {}}, b{"b", {}};
  for (std::size_t i = 0; i < recorded.set.trials.size(); ++i) {
    const auto& trial = recorded.set.trials[i];
    const auto end_s = static_cast<std::int64_t>(scenario.start_s + scenario.hours * 3600);
    (i % 2 == 0 ? a : b).parts.push_back({trial, {{trial.start_s, trial.stop_s.value_or(end_s)}}});
  }
  trial::CompareBuilder builder(recorded.viewpoint, a, b, {});
  recorded.add_to(builder);
  CompareOutcome out;
  out.comparison = builder.finish();

  const auto& truth = recorded.set.truth.trials;
  // The receivers' own offsets cancel where they are swapped; elsewhere they are alike.
  std::vector<double> sector(out.comparison.sectors.size());
  const double n_pairs = static_cast<double>(truth.size()) / 2;
  for (std::size_t i = 0; i + 1 < truth.size(); i += 2)
    for (std::size_t d = 0; d < 360; ++d)
      sector[d * sector.size() / 360] += (truth[i].pattern_db[d] + truth[i].mean_db -
                                          truth[i + 1].pattern_db[d] - truth[i + 1].mean_db) /
                                         n_pairs / (360 / static_cast<double>(sector.size()));
  for (double value : sector) out.true_db += value / static_cast<double>(sector.size());
  const auto& overall = out.comparison.difference;
  out.holds = overall && out.true_db >= overall->low_db && out.true_db <= overall->high_db;
  for (std::size_t i = 0; i < sector.size(); ++i) {
    const auto& of = out.comparison.sectors[i];
    const bool differs = std::abs(sector[i]) >= 2;
    out.notch += differs && of.difference_db;
    out.significant += of.significant;
    out.in_notch += differs && of.significant;
    if (!of.difference_db) continue;
    ++out.intervals;
    out.holding += sector[i] >= *of.low_db && sector[i] <= *of.high_db;
  }
  return out;
}

}  // namespace roundel::calibration
