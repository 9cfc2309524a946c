// The difference of two feeds by sector from paired counts.
#pragma once
#include <vector>

#include "analysis/trial/difference.h"
#include "analysis/trial/pairs.h"

namespace roundel::trial {

/// What the paired fit takes as known, from each side's own rate fit.
struct PairedScale {
  double softness_db = 2;  ///< w, of both
  double softness_se_db = 0;
  double level_sd_db = 4;        ///< of a flight's level in a sector about the sector's gain
  std::vector<double> level_db;  ///< [n_sectors] expected, at offset 0, mean of both sides
  double messages_a = 1, messages_b = 1;     ///< per chance (throttled feeds)
  std::uint32_t first_hour = 0;              ///< Unix time / 3600 of ceilings[0]
  std::vector<double> ceiling_a, ceiling_b;  ///< pm by hour
};

/// Model, for the rows r of one flight in one sector (a block):
///     a_r ~ Binomial(n_r, q(level + x_r + d_s / 2)),  b_r alike with - d_s / 2,
///     level ~ N(level_s, level_sd^2), integrated out by adaptive Gauss-Hermite quadrature,
///     q = 1 - (1 - pm logistic(level / w))^m
/// d_s by Fisher scoring, a sector at a time. Errors: robust by flight, each flight's score
/// inflated by its leverage. Only groups of `stratum` are used, and no block that, by where it was
/// flown, can be expected to say next to nothing.
Difference paired_difference(const Pairs& pairs, int stratum, int n_sectors,
                             const PairedScale& scale);

}  // namespace roundel::trial
