// Runs the calibration of comparisons and drifts, and prints its table.
//   calibrate_trials [--seeds FROM-TO] [--each] [SCENARIO ...]
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "tests/simulation/arguments.h"
#include "tests/simulation/trial_scenarios.h"

int main(int argc, char** argv) {
  using namespace roundel::calibration;
  auto [from, to, each, names] = read_arguments(argc, argv, 1001, 1020);
  std::printf(
      "Seeds %llu to %llu.\n\n| scenario | runs | rms error dB | largest | width dB | "
      "interval holds | sectors' intervals hold | significant sectors a run | of truly "
      "different |\n|---|---|---|---|---|---|---|---|---|\n",
      static_cast<unsigned long long>(from), static_cast<unsigned long long>(to));
  for (const CompareCase& one : compare_cases()) {
    if (!names.empty() && std::find(names.begin(), names.end(), one.name) == names.end()) continue;
    int runs = 0, holds = 0, intervals = 0, holding = 0, significant = 0, in_notch = 0, notch = 0;
    double squares = 0, largest = 0, width = 0;
    for (std::uint64_t seed = from; seed <= to; ++seed) {
      const CompareOutcome o = run(one, seed);
      ++runs;
      const auto overall =
          o.comparison.difference.value_or(roundel::trial::Comparison::Overall{99, -99, 99});
      const double error = overall.value_db - o.true_db;
      if (each)
        std::printf(
            "  %s %llu: %.3f [%.3f %.3f] true %.3f, sectors %d/%d, significant %d, notch "
            "%d/%d, w %.2f, paired flights %lld\n",
            one.name.c_str(), static_cast<unsigned long long>(seed), overall.value_db,
            overall.low_db, overall.high_db, o.true_db, o.holding, o.intervals, o.significant,
            o.in_notch, o.notch, o.comparison.softness_db,
            static_cast<long long>(o.comparison.flights_paired));
      squares += error * error;
      largest = std::max(largest, std::abs(error));
      width += overall.high_db - overall.low_db;
      holds += o.holds;
      intervals += o.intervals, holding += o.holding;
      significant += o.significant, in_notch += o.in_notch, notch += o.notch;
    }
    std::printf("| %s | %d | %.3f | %.2f | %.2f | %d | %.1f %% | %.2f | ", one.what.c_str(), runs,
                std::sqrt(squares / runs), largest, width / runs, holds,
                intervals ? 100.0 * holding / intervals : 0.0,
                static_cast<double>(significant) / runs);
    if (notch > 0)
      std::printf("%.0f %% |\n", 100.0 * in_notch / notch);
    else
      std::printf("- |\n");
    std::fflush(stdout);
  }
}
