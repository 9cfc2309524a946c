#include <Eigen/Cholesky>
#include <Eigen/LU>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

void Fitter::finish(LevelFit& fit) {
  const int n = n_sectors_ + k_;
  const Eigen::LDLT<MatrixXd> solver(matrix_);
  const MatrixXd inverse = solver.solve(MatrixXd::Identity(n, n));
  fit.gain_db = state_.gain.array() + centre_;
  fit.beta = state_.beta;
  fit.softness_db = state_.softness;
  fit.ceiling = ceiling_;
  fit.flight_db = state_.flight;
  fit.sigma_flight_db = sigma_flight_;
  fit.sigma_block_db = sigma_block_;
  fit.noise_db = noise_;
  fit.log_likelihood = log_likelihood_;
  fit.model_covariance = inverse.topLeftCorner(n_sectors_, n_sectors_);
  robust(fit, inverse);
}

// Sandwich: each flight's score, inflated by its own leverage.
void Fitter::robust(LevelFit& fit, const MatrixXd& inverse) {
  const int n = n_sectors_ + k_;
  fit.influence = MatrixXd::Zero(data_.n_flights, n_sectors_);
  MatrixXd beta_influence = MatrixXd::Zero(data_.n_flights, k_);
  fit.sector_flights.assign(static_cast<std::size_t>(n_sectors_), 0);
  std::vector<double> total(static_cast<std::size_t>(n_sectors_), 0.0);
  std::vector<double> squares(static_cast<std::size_t>(n_sectors_), 0.0);
  fit.sector_off_deg.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  std::vector<int> support;
  each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
    support.clear();
    for (std::size_t b = begin; b < end; ++b) support.push_back(data_.blocks[b].sector);
    const int n_blocks = static_cast<int>(support.size());
    for (int k = 0; k < k_; ++k) support.push_back(n_sectors_ + k);
    const int size = static_cast<int>(support.size());
    MatrixXd own = MatrixXd::Zero(size, size);
    VectorXd score = VectorXd::Zero(size);
    own_equations(flight, begin, end, own, score);
    for (int i = 0; i < n_blocks; ++i) {
      const auto s = static_cast<std::size_t>(support[static_cast<std::size_t>(i)]);
      if (own(i, i) > 0.02) ++fit.sector_flights[s];
      total[s] += own(i, i);
      squares[s] += own(i, i) * own(i, i);
      fit.sector_off_deg[s] +=
          own(i, i) * bearing_off_deg(data_.blocks[begin + static_cast<std::size_t>(i)]);
    }
    MatrixXd part(size, size);
    for (int i = 0; i < size; ++i)
      for (int j = 0; j < size; ++j)
        part(i, j) =
            inverse(support[static_cast<std::size_t>(i)], support[static_cast<std::size_t>(j)]);
    const MatrixXd leave =
        MatrixXd::Identity(size, size) - (options_.leverage ? 1.0 : 0.0) * own * part;
    const VectorXd inflated = leave.partialPivLu().solve(score);
    VectorXd shift = VectorXd::Zero(n);
    for (int i = 0; i < size; ++i)
      shift += inverse.col(support[static_cast<std::size_t>(i)]) * inflated[i];
    fit.influence.row(flight) = shift.head(n_sectors_).transpose();
    beta_influence.row(flight) = shift.tail(k_).transpose();
  });
  fit.covariance = fit.influence.transpose() * fit.influence;
  const MatrixXd beta_covariance = beta_influence.transpose() * beta_influence;
  fit.beta_covariance = beta_covariance.topLeftCorner(n_beta_, n_beta_);
  if (fits_softness_)
    fit.softness_se_db = std::sqrt(std::max(0.0, beta_covariance(n_beta_, n_beta_)));
  fit.sector_effective.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  for (std::size_t s = 0; s < total.size(); ++s)
    if (squares[s] > 0) {
      fit.sector_effective[s] = total[s] * total[s] / squares[s];
      fit.sector_off_deg[s] /= total[s];
    }
}

double Fitter::bearing_off_deg(const LevelBlock& block) const {
  double sum = 0, chances = 0;
  for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
    sum += data_.rows[r].chances * data_.rows[r].bearing_off_deg;
    chances += data_.rows[r].chances;
  }
  return chances > 0 ? sum / chances : 0;
}

// One flight's part of the normal equations.
void Fitter::own_equations(std::uint32_t flight, std::size_t begin, std::size_t end, MatrixXd& own,
                           VectorXd& score) const {
  const auto n_blocks = static_cast<int>(end - begin);
  double information = flight_precision(),
         flight_score = -flight_precision() * state_.flight[flight];
  Small cross = Small::Zero(k_);
  std::vector<Reduced> reduced;
  for (std::size_t b = begin; b < end; ++b) {
    reduced.push_back(reduce(b));
    information += reduced.back().information;
    flight_score += reduced.back().score;
    cross += reduced.back().cross;
    own.bottomRightCorner(k_, k_) += reduced_square(b);
    score.tail(k_) += reduced_score(b);
  }
  const bool random = options_.random_flights && information > 0;
  for (int i = 0; i < n_blocks; ++i) {
    const Reduced& r = reduced[static_cast<std::size_t>(i)];
    score[i] += r.score;
    own(i, i) += r.information;
    own.block(i, n_blocks, 1, k_) += r.cross.transpose();
    if (!random) continue;
    score[i] -= r.information * flight_score / information;
    own.block(i, n_blocks, 1, k_) -= r.information / information * cross.transpose();
    for (int j = 0; j < n_blocks; ++j)
      own(i, j) -= r.information * reduced[static_cast<std::size_t>(j)].information / information;
  }
  if (random) {
    own.bottomRightCorner(k_, k_) -= cross * cross.transpose() / information;
    score.tail(k_) -= cross * (flight_score / information);
  }
  own.bottomLeftCorner(k_, n_blocks) = own.topRightCorner(n_blocks, k_).transpose();
}

}  // namespace roundel::pattern::levels
