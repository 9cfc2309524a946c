// Runs the calibration of comparisons, drifts, separations and masts, and prints its tables.
//   calibrate_trials [--seeds FROM-TO] [--each] [SCENARIO ...]
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "tests/simulation/arguments.h"
#include "tests/simulation/trial_scenarios.h"

namespace {

using namespace roundel::calibration;

// Prints a heading once, with the first row under it.
class Heading {
 public:
  explicit Heading(const char* text) : text_(text) {}
  void once() {
    if (!printed_) std::printf("\n%s\n", text_);
    printed_ = true;
  }

 private:
  const char* text_;
  bool printed_ = false;
};

bool wanted(const Arguments& asked, const std::string& name) {
  return asked.names.empty() ||
         std::find(asked.names.begin(), asked.names.end(), name) != asked.names.end();
}

void compare_table(const Arguments& asked) {
  Heading heading(
      "| scenario | runs | bias dB | rms error dB | largest | width dB | interval holds | sectors' "
      "intervals hold | significant sectors a run | of truly different |\n"
      "|---|---|---|---|---|---|---|---|---|---|");
  for (const CompareCase& one : compare_cases()) {
    if (!wanted(asked, one.name)) continue;
    int runs = 0, holds = 0, intervals = 0, holding = 0, significant = 0, in_notch = 0, notch = 0;
    double sum = 0, squares = 0, largest = 0, width = 0;
    for (std::uint64_t seed = asked.from; seed <= asked.to; ++seed) {
      const CompareOutcome o = run(one, seed);
      ++runs;
      const auto overall =
          o.comparison.difference.value_or(roundel::trial::Comparison::Overall{99, -99, 99});
      const double error = overall.value_db - o.true_db;
      if (asked.each)
        std::printf(
            "  %s %llu: %.3f [%.3f %.3f] true %.3f, sectors %d/%d, significant %d, notch "
            "%d/%d, w %.2f, paired flights %lld\n",
            one.name.c_str(), static_cast<unsigned long long>(seed), overall.value_db,
            overall.low_db, overall.high_db, o.true_db, o.holding, o.intervals, o.significant,
            o.in_notch, o.notch, o.comparison.softness_db,
            static_cast<long long>(o.comparison.flights_paired));
      std::fflush(stdout);
      sum += error;
      squares += error * error;
      largest = std::max(largest, std::abs(error));
      width += overall.high_db - overall.low_db;
      holds += o.holds;
      intervals += o.intervals, holding += o.holding;
      significant += o.significant, in_notch += o.in_notch, notch += o.notch;
    }
    heading.once();
    std::printf("| %s | %d | %+.3f | %.3f | %.2f | %.2f | %d | %.1f %% | %.2f | ", one.what.c_str(),
                runs, sum / runs, std::sqrt(squares / runs), largest, width / runs, holds,
                intervals ? 100.0 * holding / intervals : 0.0,
                static_cast<double>(significant) / runs);
    if (notch > 0)
      std::printf("%.0f %% |\n", 100.0 * in_notch / notch);
    else
      std::printf("- |\n");
    std::fflush(stdout);
  }
}

void drift_table(const Arguments& asked) {
  Heading heading(
      "| scenario | runs | found within 12 h | bias dB | rms error dB | largest | interval holds | "
      "runs with another change |\n|---|---|---|---|---|---|---|---|");
  for (const DriftCase& one : drift_cases()) {
    if (!wanted(asked, one.name)) continue;
    int runs = 0, found = 0, holds = 0, with_others = 0;
    double sum = 0, squares = 0, largest = 0;
    for (std::uint64_t seed = asked.from; seed <= asked.to; ++seed) {
      const DriftOutcome o = run(one, seed);
      ++runs;
      found += o.found.has_value(), holds += o.holds, with_others += o.others > 0;
      sum += o.error_db, squares += o.error_db * o.error_db;
      largest = std::max(largest, std::abs(o.error_db));
      if (!asked.each) continue;
      std::printf("  %s %llu: true %.1f h, %s %+.1f h error %+.2f dB%s, %lld flights;",
                  one.name.c_str(), static_cast<unsigned long long>(seed), o.true_h,
                  o.found ? "found" : "MISSED", o.late_h, o.error_db, o.holds ? "" : " outside",
                  static_cast<long long>(o.drift.flights));
      for (const auto& change : o.drift.changes)
        std::printf(" [%s %+.2f %.4f]",
                    change.bearings_deg.empty()
                        ? "all"
                        : std::to_string(change.bearings_deg.front()).c_str(),
                    change.step_db, change.probability);
      std::printf("\n");
      std::fflush(stdout);
    }
    heading.once();
    if (one.step_db != 0)
      std::printf("| %s | %d | %d | %+.2f | %.2f | %.2f | %d | %d |\n", one.what.c_str(), runs,
                  found, found ? sum / found : 0.0, found ? std::sqrt(squares / found) : 0.0,
                  largest, holds, with_others);
    else
      std::printf("| %s | %d | - | - | - | - | - | %d |\n", one.what.c_str(), runs, with_others);
    std::fflush(stdout);
  }
}

void separate_table(const Arguments& asked) {
  Heading heading(
      "| scenario | runs | antenna order 1, rms dB | largest | mount order 1, rms dB | largest | "
      "receiver, rms dB | largest | intervals hold | wrongly (not) identified |\n"
      "|---|---|---|---|---|---|---|---|---|---|");
  struct Sum {
    int n = 0;
    double squares = 0, largest = 0;
    void add(double error) {
      ++n, squares += error * error, largest = std::max(largest, std::abs(error));
    }
    std::string text() const {
      char out[64];
      std::snprintf(out, sizeof out, "%.2f | %.2f", std::sqrt(squares / n), largest);
      return n == 0 ? "- | -" : out;
    }
  };
  for (const SeparateCase& one : separate_cases()) {
    if (!wanted(asked, one.name)) continue;
    Sum antenna, mount, receiver;
    int runs = 0, intervals = 0, holding = 0, wrong = 0;
    for (std::uint64_t seed = asked.from; seed <= asked.to; ++seed) {
      const SeparateOutcome o = run(one, seed);
      ++runs;
      for (const double error : o.antenna_error_db) antenna.add(error);
      for (const double error : o.mount_error_db) mount.add(error);
      if (o.receiver_error_db) receiver.add(*o.receiver_error_db);
      intervals += o.intervals, holding += o.holding, wrong += o.wrong;
      if (!asked.each) continue;
      std::printf("  %s %llu:", one.name.c_str(), static_cast<unsigned long long>(seed));
      for (const double error : o.antenna_error_db) std::printf(" antenna %.2f", error);
      for (const double error : o.mount_error_db) std::printf(" mount %.2f", error);
      if (o.receiver_error_db) std::printf(" receiver %+.2f", *o.receiver_error_db);
      std::printf(" holding %d/%d wrong %d\n", o.holding, o.intervals, o.wrong);
      if (seed == asked.from)
        for (const auto& list : {o.separation.not_identified, o.separation.advice})
          for (const auto& text : list) std::printf("    %s\n", text.c_str());
      std::fflush(stdout);
    }
    heading.once();
    std::printf("| %s | %d | %s | %s | %s | %.1f %% | %d |\n", one.what.c_str(), runs,
                antenna.text().c_str(), mount.text().c_str(), receiver.text().c_str(),
                intervals ? 100.0 * holding / intervals : 0.0, wrong);
    std::fflush(stdout);
  }
}

void mast_table(const Arguments& asked) {
  Heading heading(
      "| scenario | runs | said: a mast explains it | spacing within 10 % | largest error | "
      "bearing within 5 degrees | largest error | spacing's interval holds | bearing's | radius's "
      "|\n|---|---|---|---|---|---|---|---|---|---|");
  for (const MastCase& one : mast_cases()) {
    if (!wanted(asked, one.name)) continue;
    int runs = 0, explains = 0, spacing = 0, bearing = 0, hold_s = 0, hold_b = 0, hold_r = 0;
    double worst_spacing = 0, worst_bearing = 0;
    for (std::uint64_t seed = asked.from; seed <= asked.to; ++seed) {
      const MastOutcome o = run(one, seed);
      ++runs;
      explains += o.fit.answer == roundel::trial::MastAnswer::explains;
      spacing += std::abs(o.spacing_error) <= 0.1, bearing += std::abs(o.bearing_error_deg) <= 5;
      worst_spacing = std::max(worst_spacing, std::abs(o.spacing_error));
      worst_bearing = std::max(worst_bearing, std::abs(o.bearing_error_deg));
      hold_s += o.spacing_holds, hold_b += o.bearing_holds, hold_r += o.radius_holds;
      if (!asked.each) continue;
      std::printf(
          "  %s %llu: %s radius %.1f [%.1f %.1f] spacing %.0f [%.0f %.0f] bearing error "
          "%+.1f [%.1f %.1f of %.1f] explains %.2f ripple %.1f\n",
          one.name.c_str(), static_cast<unsigned long long>(seed),
          std::string(name_of(o.fit.answer)).c_str(), o.fit.radius_mm.value, o.fit.radius_mm.low,
          o.fit.radius_mm.high, o.fit.spacing_mm.value, o.fit.spacing_mm.low, o.fit.spacing_mm.high,
          o.bearing_error_deg, o.fit.bearing_deg.low, o.fit.bearing_deg.high,
          o.fit.bearing_deg.value, o.fit.explains, o.fit.ripple_db);
      std::fflush(stdout);
    }
    heading.once();
    if (one.spacing_wavelengths > 0)
      std::printf("| %s | %d | %d | %d | %.0f %% | %d | %.1f deg | %d | %d | %d |\n",
                  one.what.c_str(), runs, explains, spacing, 100 * worst_spacing, bearing,
                  worst_bearing, hold_s, hold_b, hold_r);
    else
      std::printf("| %s | %d | %d | - | - | - | - | - | - | - |\n", one.what.c_str(), runs,
                  explains);
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  const Arguments asked = read_arguments(argc, argv, 2001, 2012);
  std::printf("Seeds %llu to %llu.\n", static_cast<unsigned long long>(asked.from),
              static_cast<unsigned long long>(asked.to));
  compare_table(asked);
  drift_table(asked);
  separate_table(asked);
  mast_table(asked);
}
