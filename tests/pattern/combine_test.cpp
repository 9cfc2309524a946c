// How sure the sectors of a pattern are together, and where a fit behind walls starts: from fits
// made up.
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
  fit.open_covariance = Eigen::MatrixXd::Zero(n_sectors, n_sectors);
  fit.scale_shift_db = Eigen::VectorXd::Zero(n_sectors);
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

LevelFit start_of(double gain_db) {
  LevelFit fit;
  fit.gain_db = Eigen::VectorXd::Constant(n_sectors, gain_db);
  fit.beta = Eigen::VectorXd::Zero(2);
  return fit;
}

// Behind a wall little is heard, which is not the antenna's.
TEST(BeyondWalls, AGainGoesOnBetweenThoseBesideTheWall) {
  LevelFit fit = start_of(1);
  fit.gain_db[4] = 3;
  for (Eigen::Index s : {5, 6, 7, 23, 0}) fit.gain_db[s] = -20;
  Screen screen;
  screen.cutoff_deg.resize(n_sectors);
  for (std::size_t s : {5U, 6U, 7U, 23U, 0U}) screen.cutoff_deg[s] = 3;
  const auto start = beyond_walls(fit, screen);
  ASSERT_TRUE(start);
  EXPECT_DOUBLE_EQ(start->gain_db[4], 3);
  EXPECT_DOUBLE_EQ(start->gain_db[5], 2.5);
  EXPECT_DOUBLE_EQ(start->gain_db[6], 2);
  EXPECT_DOUBLE_EQ(start->gain_db[7], 1.5);
  EXPECT_DOUBLE_EQ(start->gain_db[8], 1);
  EXPECT_DOUBLE_EQ(start->gain_db[23], 1) << "across north";
  EXPECT_DOUBLE_EQ(start->gain_db[0], 1);
  EXPECT_EQ(start->beta.size(), aspect_orders + 1) << "what is left of the edge's loss above it";
}

TEST(BeyondWalls, HardlyAnyOpenBearingIsNoStart) {
  Screen screen;
  screen.cutoff_deg.assign(n_sectors, 3);
  EXPECT_FALSE(beyond_walls(start_of(1), screen));
  for (std::size_t s = 0; s < 5; ++s) screen.cutoff_deg[s].reset();
  EXPECT_FALSE(beyond_walls(start_of(1), screen));
  screen.cutoff_deg[5].reset();
  EXPECT_TRUE(beyond_walls(start_of(1), screen));
}

}  // namespace
}  // namespace roundel::pattern
