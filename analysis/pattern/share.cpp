#include "roundel/pattern/share.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cassert>
#include <cmath>

namespace roundel::pattern {

ShareInterval wilson(std::int64_t successes, std::int64_t trials, double confidence) {
  assert(successes >= 0 && successes <= trials);
  if (trials == 0) return {0, 1};
  const double z = quantile(boost::math::normal(), 0.5 + confidence / 2);
  const auto n = static_cast<double>(trials);
  const double p = static_cast<double>(successes) / n, scale = 1 / (1 + z * z / n);
  const double middle = scale * (p + z * z / (2 * n));
  const double half = scale * z * std::sqrt(p * (1 - p) / n + z * z / (4 * n * n));
  // At the ends the limits are exact; rounding must not leave them a hair inside.
  return {successes == 0 ? 0 : std::max(0.0, middle - half),
          successes == trials ? 1 : std::min(1.0, middle + half)};
}

}  // namespace roundel::pattern
