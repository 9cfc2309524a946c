// Many tests at once: which may be called significant.
#pragma once
#include <span>
#include <vector>

namespace roundel::trial {

/// Benjamini and Hochberg 1995 (J. R. Stat. Soc. B 57:289): adjusted p-values, in the order given.
/// Rejecting those at or below q keeps the expected share of false ones among the rejected at or
/// below q, for independent or positively dependent tests.
std::vector<double> adjusted_p(std::span<const double> p);

}  // namespace roundel::trial
