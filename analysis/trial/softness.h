// One softness of the threshold for several fits: with one each, an error in either would pass for
// a difference in gain.
#pragma once
#include <algorithm>
#include <cmath>

#include "roundel/pattern/level_model.h"

namespace roundel::trial {

struct Softness {
  double value_db{}, se_db{};  ///< 0: no fit tells
  /// Of the whole dB scale.
  double relative_error() const { return value_db > 0 ? se_db / value_db : 0; }
};

/// Adds fits one by one, weighted by precision.
class SoftnessMean {
 public:
  void add(const pattern::LevelFit& fit) {
    if (fit.gain_db.size() == 0 || !(fit.softness_db > 0)) return;
    const double weight = 1 / std::max(1e-6, fit.softness_se_db * fit.softness_se_db);
    sum_ += weight * fit.softness_db;
    weight_ += weight;
  }
  Softness mean() const {
    if (weight_ == 0) return {};
    return {sum_ / weight_, 1 / std::sqrt(weight_)};
  }

 private:
  double sum_ = 0, weight_ = 0;
};

}  // namespace roundel::trial
