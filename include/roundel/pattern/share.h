// How sure a share of flights is, and how far a confidence reaches.
#pragma once
#include <cstdint>

namespace roundel::pattern {

struct ShareInterval {
  double low{}, high{};  ///< within [0, 1]
};

/// Wilson's score interval for `successes` of `trials` independent ones (Wilson 1927, J. Am. Stat.
/// Assoc. 22:209; without continuity correction): holds its confidence also near 0 and 1 and for a
/// handful of trials. Of flights, not of cells: those of one flight are not independent.
/// @param successes   [0, trials]
/// @param trials      0: nothing is known, the interval is all
/// @param confidence  [0.5, 1)
ShareInterval wilson(std::int64_t successes, std::int64_t trials, double confidence);

/// Standard deviations to either side of the mean within which a normal variable falls with that
/// confidence: 1.96 for 0.95.
/// @param confidence  [0, 1)
double normal_reach(double confidence);

}  // namespace roundel::pattern
