// How many of the intervals of several runs hold, and how sure that is.
#pragma once
#include <cmath>
#include <optional>
#include <vector>

#include "analysis/trial/student_t.h"

namespace roundel::calibration {

/// Of one run.
struct Tally {
  int holding{}, of{};
};

struct PooledShare {
  int holding{}, of{};
  double value{};
  /// Of a 95 % interval; none from a single run.
  std::optional<double> half_width;
};

/// The share over all runs. Intervals of one run hang together, as they rest on the same flights:
/// the error is by run, that of a ratio of sums (Cochran, Sampling Techniques, chapter 6; from
/// memory), and Student's t goes by the number of runs.
inline PooledShare pooled(const std::vector<Tally>& runs) {
  PooledShare out;
  for (const Tally& run : runs) out.holding += run.holding, out.of += run.of;
  if (out.of == 0) return out;
  out.value = static_cast<double>(out.holding) / out.of;
  const int n = static_cast<int>(runs.size());
  if (n < 2) return out;
  double squares = 0;
  for (const Tally& run : runs) squares += std::pow(run.holding - out.value * run.of, 2);
  out.half_width = trial::student_t975(n - 1) * std::sqrt(squares * n / (n - 1)) / out.of;
  return out;
}

}  // namespace roundel::calibration
