// How sure the sectors of a pattern are together, from fits made up with a known covariance.
#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <cmath>
#include <random>

#include "roundel/pattern/gain.h"

namespace roundel::pattern {
namespace {

constexpr Eigen::Index n_sectors = 24;

/// Neighbours share half of their errors, their neighbours a quarter of them.
Eigen::MatrixXd alike_by(double share) {
  Eigen::MatrixXd out(n_sectors, n_sectors);
  for (Eigen::Index i = 0; i < n_sectors; ++i)
    for (Eigen::Index j = 0; j < n_sectors; ++j) {
      const auto apart = std::abs(i - j);
      out(i, j) = 0.04 * std::pow(share, static_cast<double>(std::min(apart, n_sectors - apart)));
    }
  return out;
}

/// What a fit would show of `airframes` that scatter by `truth`, its model taking them to scatter
/// by `model`.
LevelFit fit_of(int airframes, const Eigen::MatrixXd& truth, const Eigen::MatrixXd& model) {
  std::mt19937_64 random(20261127);
  std::normal_distribution<double> normal;
  LevelFit fit;
  fit.gain_db = Eigen::VectorXd::Zero(n_sectors);
  fit.influence.resize(airframes, n_sectors);
  for (double& one : fit.influence.reshaped()) one = normal(random) / std::sqrt(airframes);
  fit.influence *= truth.llt().matrixU();
  fit.covariance = fit.influence.transpose() * fit.influence;
  fit.model_covariance = model;
  fit.sector_flights.assign(n_sectors, airframes);
  fit.sector_effective.assign(n_sectors, 1e6);  // no factor of Student's
  fit.sector_off_deg.assign(n_sectors, 0);
  return fit;
}

double off_by(const Eigen::MatrixXd& found, const Eigen::MatrixXd& truth) {
  return (found - truth).norm() / truth.norm();
}

// Forty airframes know next to nothing of 276 pairs of sectors.
TEST(Combine, FewAirframesLeaveWhatSectorsShareToTheModel) {
  const Eigen::MatrixXd truth = alike_by(0.5);
  // Whatever its size: that is taken from the scatter.
  const LevelFit fit = fit_of(40, truth, 0.3 * truth);
  const Combined combined = combine(fit, {});
  EXPECT_GT(off_by(fit.covariance, truth), 0.5);
  EXPECT_LT(off_by(combined.covariance, truth), 0.2);
  const Eigen::MatrixXd error = combined.covariance - combined.covariance.transpose();
  EXPECT_LT(error.norm(), 1e-12);
}

// What the model leaves out, thousands show.
TEST(Combine, ManyAirframesOverruleTheModel) {
  const Eigen::MatrixXd truth = alike_by(0.9);
  const LevelFit fit = fit_of(4000, truth, alike_by(0.2));
  const Combined combined = combine(fit, {});
  EXPECT_LT(off_by(combined.covariance, truth), 0.1);
  EXPECT_GT(off_by(fit.model_covariance, truth), 0.5);
}

}  // namespace
}  // namespace roundel::pattern
