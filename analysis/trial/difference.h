// A difference by sector with its errors, and the statements made from it.
#pragma once
#include <Eigen/Core>
#include <vector>

#include "roundel/pattern/exposure.h"
#include "roundel/pattern/level_model.h"
#include "roundel/trial/compare.h"

namespace roundel::trial {

/// a minus b by sector.
struct Difference {
  Eigen::VectorXd value;        ///< [n]
  Eigen::MatrixXd covariance;   ///< [n x n], by flight
  std::vector<bool> known;      ///< [n] enough flights
  std::vector<double> freedom;  ///< [n] of Student's t
  std::vector<int> flights;     ///< [n]
  double scale_error = 0;       ///< relative, of the whole dB scale (the softness w)
  bool empty() const;
};

/// Two rate fits' gains, one less the other. Flights of one address count as one unit.
Difference unpaired_difference(const pattern::Exposure& a, const pattern::LevelFit& fit_a,
                               const pattern::Exposure& b, const pattern::LevelFit& fit_b);

/// Mean of two estimates from different times: by sector, weighted by precision.
Difference pooled(const Difference& one, const Difference& other);
/// Half the sum (sign +1) or half the difference (sign -1), whatever their precision.
Difference halved(const Difference& one, const Difference& other, double sign);

/// The mean over bearings. None below 3 known sectors.
std::optional<Comparison::Overall> overall(const Difference& difference, double confidence);

/// Fills sectors[]: intervals, p-values, significance.
std::vector<CompareSector> sectors_of(const Difference& difference, const CompareOptions& options);

}  // namespace roundel::trial
