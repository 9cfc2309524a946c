#include "roundel/trial/mast_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "roundel/pattern/circle.h"
#include "roundel/pattern/share.h"
#include "roundel/trial/mast_model.h"

namespace roundel::trial {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::Vector3d;
using Eigen::VectorXd;

constexpr double unmodelled_db = 0.15;
constexpr double least_radius_mm = 0.4, most_radius_mm = 200;
constexpr double least_spacing_mm = 20, most_spacing_mm = 1500, spacing_step_mm = 14;
constexpr std::array radii_mm{0.5, 1.5, 4.0, 10.0, 20.0, 35.0, 60.0, 100.0, 170.0};
constexpr std::size_t starts = 10;
constexpr double flat_rms_db = 0.3, explaining_share = 0.7;
// Deep nulls of the ideal model are filled by what else reflects.
constexpr double deepest_db = -25;

/// ln radius (mm), spacing (mm), bearing (degrees).
struct Mast {
  Vector3d at;
  double chi2 = 1e300;
};

class Fit {
 public:
  explicit Fit(const pattern::Curve& curve) : n_(curve.n()), step_deg_(360.0 / curve.n()) {
    for (Index s = 0; s < n_; ++s)
      if (curve.known[static_cast<std::size_t>(s)]) known_.push_back(s);
    const auto m = static_cast<Index>(known_.size());
    value_.resize(m);
    MatrixXd errors(m, m);
    for (Index i = 0; i < m; ++i) {
      value_[i] = curve.value[known_[static_cast<std::size_t>(i)]];
      for (Index j = 0; j < m; ++j)
        errors(i, j) = curve.covariance(known_[static_cast<std::size_t>(i)],
                                        known_[static_cast<std::size_t>(j)]);
    }
    if (m == 0) return;
    errors.diagonal().array() += unmodelled_db * unmodelled_db;
    weight_ = errors.llt().solve(MatrixXd::Identity(m, m));
    rough_weight_ = errors.diagonal().cwiseInverse();
    // The mean level is free.
    const VectorXd sums = weight_.rowwise().sum();
    weight_ -= sums * sums.transpose() / sums.sum();
    value_.array() -= value_.mean();
  }

  std::size_t n_known() const { return known_.size(); }
  const VectorXd& value() const { return value_; }
  double chi2(const VectorXd& model) const {
    const VectorXd rest = value_ - model;
    return rest.dot(weight_ * rest);
  }

  // By sector; each the mean of three points across it.
  static std::optional<VectorXd> around(double radius_mm, double spacing_mm, double bearing_deg,
                                        Index n) {
    const auto model = MastModel::make(radius_mm, spacing_mm);
    if (!model) return std::nullopt;
    const double step_deg = 360.0 / static_cast<double>(n);
    VectorXd out(n);
    for (Index s = 0; s < n; ++s) {
      double sum = 0;
      for (const double off : {-1.0 / 3, 0.0, 1.0 / 3})
        sum += std::max(deepest_db, model->gain_db(step_deg * (static_cast<double>(s) + 0.5 + off),
                                                   bearing_deg));
      out[s] = sum / 3;
    }
    return out;
  }
  VectorXd at_known(const VectorXd& all, Index shift = 0) const {
    VectorXd out(static_cast<Index>(known_.size()));
    for (std::size_t i = 0; i < known_.size(); ++i)
      out[static_cast<Index>(i)] = all[(known_[i] - shift + n_) % n_];
    out.array() -= out.mean();
    return out;
  }
  std::optional<VectorXd> model(const Vector3d& at) const {
    const double radius_mm = std::exp(at[0]);
    if (radius_mm < least_radius_mm || radius_mm > most_radius_mm || at[1] < radius_mm * 1.02 ||
        at[1] < least_spacing_mm || at[1] > most_spacing_mm)
      return std::nullopt;
    const auto all = around(radius_mm, at[1], at[2], n_);
    if (!all) return std::nullopt;
    return at_known(*all);
  }

  // The best radius and bearing at each spacing; then the local minima along it, best first.
  std::vector<Mast> search() const {
    std::vector<Mast> along;
    for (double spacing_mm = least_spacing_mm; spacing_mm <= most_spacing_mm;
         spacing_mm += spacing_step_mm) {
      Mast best;
      for (const double radius_mm : radii_mm) {
        if (spacing_mm < 1.1 * radius_mm) break;
        const auto all = around(radius_mm, spacing_mm, 0, n_);
        if (!all) continue;
        for (Index shift = 0; shift < n_; ++shift) {
          const VectorXd rest = value_ - at_known(*all, shift);
          const double rough = rest.cwiseAbs2().dot(rough_weight_);
          if (rough >= best.chi2) continue;
          best.chi2 = rough;
          best.at = {std::log(radius_mm), spacing_mm, step_deg_ * static_cast<double>(shift)};
        }
      }
      along.push_back(best);
    }
    std::vector<Mast> out;
    for (std::size_t i = 0; i < along.size(); ++i)
      if ((i == 0 || along[i].chi2 <= along[i - 1].chi2) &&
          (i + 1 == along.size() || along[i].chi2 <= along[i + 1].chi2))
        out.push_back(along[i]);
    std::sort(out.begin(), out.end(), [](const auto& x, const auto& y) { return x.chi2 < y.chi2; });
    out.resize(std::min(out.size(), starts));
    return out;
  }

  MatrixXd slopes(const Vector3d& at) const {
    const Vector3d step(0.02, 0.5, 0.5);
    MatrixXd out(static_cast<Index>(known_.size()), 3);
    for (Index k = 0; k < 3; ++k) {
      Vector3d up = at, down = at;
      up[k] += step[k];
      down[k] -= step[k];
      auto above = model(up), below = model(down);
      // At a limit of the search: from one side.
      if (!above) above = model(at), up = at;
      if (!below) below = model(at), down = at;
      out.col(k) = (*above - *below) / std::max(1e-9, up[k] - down[k]);
    }
    return out;
  }

  // Levenberg and Marquardt.
  void refine(Mast& mast) const {
    auto now = model(mast.at);
    if (!now) return;
    mast.chi2 = chi2(*now);
    double damping = 1e-2;
    for (int i = 0; i < 40 && damping < 1e6; ++i) {
      const MatrixXd slope = slopes(mast.at);
      const Eigen::Matrix3d square = slope.transpose() * weight_ * slope;
      const Vector3d right = slope.transpose() * weight_ * (value_ - *now);
      Eigen::Matrix3d damped = square;
      damped.diagonal() += damping * square.diagonal() + Vector3d::Constant(1e-9);
      Vector3d step = damped.ldlt().solve(right);
      step = step.cwiseMax(Vector3d(-0.7, -20, -20)).cwiseMin(Vector3d(0.7, 20, 20));
      const auto next = model(mast.at + step);
      const double next_chi2 = next ? chi2(*next) : 1e300;
      if (next_chi2 >= mast.chi2) {
        damping *= 5;
        continue;
      }
      const double gained = mast.chi2 - next_chi2;
      mast.at += step;
      mast.chi2 = next_chi2;
      now = next;
      damping = std::max(1e-6, damping / 5);
      if (gained < 1e-4) break;
    }
  }

  // Standard errors, limited by what was searched.
  Vector3d errors(const Vector3d& at) const {
    const MatrixXd slope = slopes(at);
    Eigen::Matrix3d square = slope.transpose() * weight_ * slope;
    square.diagonal() += Vector3d(1 / 9.0, 1e-6, 1e-5);
    return square.inverse().diagonal().cwiseSqrt();
  }

  Index n() const { return n_; }

 private:
  Index n_;
  double step_deg_;
  std::vector<Index> known_;
  VectorXd value_, rough_weight_;
  MatrixXd weight_;
};

}  // namespace

std::string_view name_of(MastAnswer answer) {
  switch (answer) {
    case MastAnswer::explains:
      return "explains";
    case MastAnswer::fails:
      return "fails";
    case MastAnswer::flat:
      break;
  }
  return "flat";
}

MastFit fit_mast(const pattern::Curve& curve, double confidence) {
  MastFit out;
  const Fit fit(curve);
  if (fit.n_known() < 12) return out;
  std::vector<Mast> minima = fit.search();
  for (Mast& one : minima) fit.refine(one);
  std::sort(minima.begin(), minima.end(),
            [](const auto& x, const auto& y) { return x.chi2 < y.chi2; });
  const Mast& best = minima.front();
  const auto model = fit.model(best.at);
  if (!model) return out;
  const double scale =
      std::max(1.0, best.chi2 / static_cast<double>(std::max<std::size_t>(1, fit.n_known() - 4)));
  const double z = pattern::normal_reach(confidence);
  Vector3d low = best.at, high = best.at;
  for (const Mast& one : minima) {
    if ((one.chi2 - best.chi2) / scale > z * z) continue;
    const Vector3d half = z * std::sqrt(scale) * fit.errors(one.at);
    Vector3d at = one.at;
    at[2] = best.at[2] + std::remainder(at[2] - best.at[2], 360);
    low = low.cwiseMin(at - half);
    high = high.cwiseMax(at + half);
  }
  low[2] = std::max(low[2], best.at[2] - 180);
  high[2] = std::min(high[2], best.at[2] + 180);
  const double turns_deg = std::floor(best.at[2] / 360) * 360;
  out.radius_mm = {std::exp(best.at[0]), std::max(least_radius_mm, std::exp(low[0])),
                   std::min(most_radius_mm, std::exp(high[0]))};
  out.spacing_mm = {best.at[1], std::max(least_spacing_mm, low[1]),
                    std::min(most_spacing_mm, high[1])};
  out.bearing_deg = {best.at[2] - turns_deg, low[2] - turns_deg, high[2] - turns_deg};
  if (const auto mast = MastModel::make(out.radius_mm.value, out.spacing_mm.value))
    out.ripple_db = mast->ripple_db();
  const double variance = fit.value().squaredNorm();
  out.explains =
      variance > 0 ? std::clamp(1 - (fit.value() - *model).squaredNorm() / variance, 0.0, 1.0) : 0;
  const auto all =
      Fit::around(out.radius_mm.value, out.spacing_mm.value, out.bearing_deg.value, fit.n());
  const double mean = all->mean();
  for (const double gain : *all) out.gain_db.push_back(gain - mean);
  const double rms_db = std::sqrt(variance / static_cast<double>(fit.n_known()));
  const double unexplained = fit.chi2(VectorXd::Zero(model->size()));
  if (rms_db < flat_rms_db || unexplained < static_cast<double>(fit.n_known()))
    out.answer = MastAnswer::flat;
  else
    out.answer = out.explains >= explaining_share ? MastAnswer::explains : MastAnswer::fails;
  return out;
}

}  // namespace roundel::trial
