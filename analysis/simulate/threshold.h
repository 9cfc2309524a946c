// From margin to the chance of being decoded: the threshold's shape, and messages lost to others.
#pragma once
#include <algorithm>

#include "analysis/simulate/numeric.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

/// The standard normal distribution, 7.5e-8 (Abramowitz and Stegun, 26.2.17).
inline double normal_share(double x) {
  const double z = std::fabs(x), t = 1 / (1 + 0.2316419 * z);
  static constexpr double c[] = {0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429};
  const double above = exp_of(-z * z / 2) * 0.39894228040143267794 * t * polynomial(c, t);
  return x < 0 ? above : 1 - above;
}

/// @param x  margin / softness_db
inline double decoded_share(ThresholdKind kind, double x) {
  switch (kind) {
    case ThresholdKind::normal:
      return normal_share(x / 1.702);
    case ThresholdKind::skewed:
      return exp_of(-ln2 * exp_of(-x));
    case ThresholdKind::tailed:
      return 0.8 * logistic(x) + 0.2 * logistic(x / 4);
    case ThresholdKind::logistic:
      break;
  }
  return logistic(x);
}

/// @param lost_share  on average
/// @param capture     [0, 1]
inline double lost_at(double lost_share, double capture, double margin_db) {
  if (capture > 0) lost_share *= 1 + capture * (1 - 2 * logistic((margin_db - 8) / 3));
  return std::clamp(lost_share, 0.0, 0.95);
}

}  // namespace roundel::simulate
