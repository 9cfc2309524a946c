#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

// A gain belongs to the middle of its sector and changes on the way to the next: by the slope
// between the neighbours on either side, where they are known. Were it taken as even within the
// sector, flights along a border would show two neighbours as equal that are not: where traffic
// comes and goes along radii, a pattern came out as 0.85 of what it was.
void Fitter::find_slopes() {
  constexpr double known = 4;  // information, per square decibel
  neighbours_.clear();
  const double width_deg = 360.0 / n_sectors_;
  const auto is_known = [&](int s) { return matrix_(s, s) > known; };
  for (int s = 0; s < n_sectors_; ++s) {
    const int before = (s + n_sectors_ - 1) % n_sectors_, after = (s + 1) % n_sectors_;
    if (before == after || matrix_(s, s) <= 0) continue;
    const int low = is_known(before) ? before : s, high = is_known(after) ? after : s;
    if (low == high) continue;
    const double per_deg = 1 / (width_deg * (low == s || high == s ? 1 : 2));
    const auto add = [&](int other, double by) {
      neighbours_.push_back({static_cast<std::uint16_t>(s), static_cast<std::uint16_t>(other), by});
    };
    add(high, per_deg);
    add(low, -per_deg);
  }
  if (!neighbours_.empty()) k_rows_ = k_ + 1;
}

VectorXd Fitter::slopes_of(const VectorXd& gain) const {
  VectorXd out = VectorXd::Zero(gain.size());
  for (const Neighbour& one : neighbours_) out[one.sector] += one.per_deg * gain[one.other];
  return out;
}

// Slopes are made of gains: what the equations say of them they say of those.
void Fitter::fold() {
  for (const Neighbour& one : neighbours_) {
    const Eigen::Index slope = n_sectors_ + one.sector;
    right_[one.other] += one.per_deg * right_[slope];
    matrix_.row(one.other) += one.per_deg * matrix_.row(slope);
  }
  for (const Neighbour& one : neighbours_)
    matrix_.col(one.other) += one.per_deg * matrix_.col(n_sectors_ + one.sector);
  const auto k = static_cast<Eigen::Index>(k_);
  const Eigen::Index n = n_sectors_ + k;
  MatrixXd folded(n, n);
  folded.topLeftCorner(n_sectors_, n_sectors_) = matrix_.topLeftCorner(n_sectors_, n_sectors_);
  folded.bottomLeftCorner(k, n_sectors_) = matrix_.bottomLeftCorner(k, n_sectors_);
  folded.topRightCorner(n_sectors_, k) = matrix_.topRightCorner(n_sectors_, k);
  folded.bottomRightCorner(k, k) = matrix_.bottomRightCorner(k, k);
  VectorXd right(n);
  right << right_.head(n_sectors_), right_.tail(k);
  matrix_ = std::move(folded);
  right_ = std::move(right);
}

}  // namespace roundel::pattern::levels
