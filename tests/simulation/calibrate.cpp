// Runs the calibration suite and prints its table.
//   calibrate [--seeds FROM-TO] [--each] [--traffic FILE] [SCENARIO ...]
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "tests/simulation/arguments.h"
#include "tests/simulation/pooled_share.h"
#include "tests/simulation/scenarios.h"

namespace {

using roundel::calibration::Case;
using roundel::calibration::Outcome;
using roundel::pattern::Answer;

struct Sums {
  int runs = 0, yes = 0, no = 0, undecided = 0, ripples = 0;
  int walled = 0, found = 0, false_walls = 0, judged = 0;
  double squares = 0, cutoff_squares = 0;
  std::vector<roundel::calibration::Tally> intervals;  // by run
};

std::string interval_text(const std::vector<roundel::calibration::Tally>& of_runs) {
  const auto share = roundel::calibration::pooled(of_runs);
  if (share.of == 0) return "-";
  char text[64];
  std::snprintf(text, sizeof text, "%.1f %%", 100 * share.value);
  std::string out = text;
  if (share.half_width) {
    std::snprintf(text, sizeof text, " ± %.1f", 100 * *share.half_width);
    out += text;
  }
  return out;
}

void print_one(const Case& one, std::uint64_t seed, const Outcome& o) {
  const auto& v = o.verdict;
  std::printf(
      "  %s %llu: %s ripple %.2f [%.2f %.2f] certain [%.2f %.2f] true %.2f scale %.3f rms %.3f "
      "holds %d/%d "
      "judged %d walls %d/%d false %d w %.2f pm %.3f sf %.2f m %.1f rate se %.2f levels %d "
      "off %zu duct %zu missing %.0f h\n",
      one.name.c_str(), static_cast<unsigned long long>(seed),
      std::string(name_of(v.answer)).c_str(), v.ripple.value_db, v.ripple.low_db, v.ripple.high_db,
      v.ripple.certain_low_db, v.ripple.certain_high_db, o.true_ripple_db, o.scale, o.rms_db,
      o.holding, o.intervals, o.judged, o.walled_found, o.walled, o.false_walls, v.softness_db,
      v.ceiling, v.sigma_flight_db, v.throttle.messages_per_chance, v.rate.rms_error_db,
      v.strength.used, v.hours_off.size(), v.hours_ducting.size(), v.missing.hours.value_or(-1));
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const auto [from, to, each, traffic, names] =
      roundel::calibration::read_arguments(argc, argv, 1001, 1040);
  std::vector<Case> chosen;
  if (!traffic.empty()) {
    for (const Case& one : roundel::calibration::rehearsals(traffic))
      if (names.empty() || std::find(names.begin(), names.end(), one.name) != names.end())
        chosen.push_back(one);
  } else if (names.empty()) {
    chosen = roundel::calibration::cases();
  }
  if (traffic.empty())
    for (const std::string& name : names) chosen.push_back(roundel::calibration::find(name));
  std::printf(
      "Seeds %llu to %llu, 40 aircraft on average unless said, tolerance 3 dB, confidence 95 "
      "%%.\n\n",
      static_cast<unsigned long long>(from), static_cast<unsigned long long>(to));
  std::printf(
      "| scenario | runs | omni | not | undecided | rms dB / 10 deg | intervals hold | ripple "
      "holds | walls found | cut-off rms deg | false walls a run | judged |\n"
      "|---|---|---|---|---|---|---|---|---|---|---|---|\n");
  for (const Case& one : chosen) {
    Sums sum;
    for (std::uint64_t seed = from; seed <= to; ++seed) {
      const Outcome o = roundel::calibration::run(one, seed);
      if (each) print_one(one, seed, o);
      ++sum.runs;
      sum.yes += o.verdict.answer == Answer::omnidirectional;
      sum.no += o.verdict.answer == Answer::not_omnidirectional;
      sum.undecided += o.verdict.answer == Answer::undecided;
      sum.squares += o.rms_db * o.rms_db;
      sum.intervals.push_back({o.holding, o.intervals});
      sum.ripples += o.ripple_holds;
      sum.walled += o.walled;
      sum.found += o.walled_found;
      sum.false_walls += o.false_walls;
      sum.cutoff_squares += o.cutoff_error_squares;
      sum.judged += o.judged;
    }
    const double runs = sum.runs;
    std::printf("| %s | %d | %.0f %% | %.0f %% | %.0f %% | %.2f | %s | %.0f %% | ",
                one.what.c_str(), sum.runs, 100 * sum.yes / runs, 100 * sum.no / runs,
                100 * sum.undecided / runs, std::sqrt(sum.squares / runs),
                interval_text(sum.intervals).c_str(), 100 * sum.ripples / runs);
    if (sum.walled > 0)
      std::printf("%.1f %% | %.2f | ", 100.0 * sum.found / sum.walled,
                  sum.found > 0 ? std::sqrt(sum.cutoff_squares / sum.found) : 0.0);
    else
      std::printf("- | - | ");
    std::printf("%.2f | %.1f |\n", sum.false_walls / runs, sum.judged / runs);
    std::fflush(stdout);
  }
}
