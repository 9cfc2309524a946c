#include "roundel/pattern/share.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cassert>
#include <cmath>

namespace roundel::pattern {

double normal_reach(double confidence) {
  // In double throughout: Boost fills its tables for long double before main(), and that throws
  // under valgrind, which computes long double in double.
  using Policy = boost::math::policies::policy<boost::math::policies::promote_double<false>>;
  return quantile(boost::math::normal_distribution<double, Policy>(), 0.5 + confidence / 2);
}

ShareInterval wilson(std::int64_t successes, std::int64_t trials, double confidence) {
  assert(successes >= 0 && successes <= trials);
  if (trials == 0) return {0, 1};
  const double z = normal_reach(confidence);
  const auto n = static_cast<double>(trials);
  const double p = static_cast<double>(successes) / n, scale = 1 / (1 + z * z / n);
  const double middle = scale * (p + z * z / (2 * n));
  const double half = scale * z * std::sqrt(p * (1 - p) / n + z * z / (4 * n * n));
  // At the ends the limits are exact; rounding must not leave them a hair inside.
  return {successes == 0 ? 0 : std::max(0.0, middle - half),
          successes == trials ? 1 : std::min(1.0, middle + half)};
}

}  // namespace roundel::pattern
