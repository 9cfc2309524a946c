#include <Eigen/Cholesky>
#include <Eigen/LU>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

void Fitter::finish(LevelFit& fit) {
  fit.gain_db = state_.gain.array() + centre_;
  fit.beta = state_.beta;
  fit.softness_db = state_.softness;
  fit.ceiling = ceiling_;
  fit.flight_db = state_.flight;
  fit.sigma_flight_db = sigma_flight_;
  fit.sigma_block_db = sigma_block_;
  fit.noise_db = noise_;
  fit.log_likelihood = log_likelihood_;
  if (!options_.errors) return;
  const Eigen::Index n = n_sectors_ + static_cast<Eigen::Index>(k_);
  const Eigen::LDLT<MatrixXd> solver(matrix_);
  const MatrixXd inverse = solver.solve(MatrixXd::Identity(n, n));
  fit.model_covariance = inverse.topLeftCorner(n_sectors_, n_sectors_);
  robust(fit, inverse);
}

// Sandwich: each flight's score, inflated by its own leverage; added up by airframe.
void Fitter::robust(LevelFit& fit, const MatrixXd& inverse) {
  const int k = static_cast<int>(k_);
  const int n = n_sectors_ + k;
  fit.influence = MatrixXd::Zero(data_.n_flights, n_sectors_);
  MatrixXd beta_influence = MatrixXd::Zero(data_.n_flights, k);
  fit.sector_flights.assign(static_cast<std::size_t>(n_sectors_), 0);
  MatrixXd information = MatrixXd::Zero(data_.n_flights, n_sectors_);  // by airframe
  fit.sector_off_deg.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  std::vector<int> support;
  each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
    const std::uint32_t airframe = data_.airframe.empty() ? flight : data_.airframe[flight];
    support.clear();
    for (std::size_t b = begin; b < end; ++b) support.push_back(data_.blocks[b].sector);
    const int n_blocks = static_cast<int>(support.size());
    for (int i = 0; i < k; ++i) support.push_back(n_sectors_ + i);
    const int size = static_cast<int>(support.size());
    MatrixXd own = MatrixXd::Zero(size, size);
    VectorXd score = VectorXd::Zero(size);
    own_equations(flight, begin, end, own, score);
    for (int i = 0; i < n_blocks; ++i) {
      const auto s = static_cast<std::size_t>(support[static_cast<std::size_t>(i)]);
      if (own(i, i) > 0.02) ++fit.sector_flights[s];
      information(airframe, support[static_cast<std::size_t>(i)]) += own(i, i);
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
    fit.influence.row(airframe) += shift.head(n_sectors_).transpose();
    beta_influence.row(airframe) += shift.tail(k).transpose();
  });
  fit.covariance = fit.influence.transpose() * fit.influence;
  const MatrixXd beta_covariance = beta_influence.transpose() * beta_influence;
  fit.beta_covariance = beta_covariance.topLeftCorner(n_beta_, n_beta_);
  if (fits_softness_)
    fit.softness_se_db = std::sqrt(std::max(0.0, beta_covariance(n_beta_, n_beta_)));
  fit.sector_effective.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  for (int s = 0; s < n_sectors_; ++s) {
    const auto at = static_cast<std::size_t>(s);
    const double total = information.col(s).sum(), squares = information.col(s).squaredNorm();
    if (squares <= 0) continue;
    fit.sector_effective[at] = total * total / squares;
    fit.sector_off_deg[at] /= total;
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
  const auto k = static_cast<int>(k_);
  Reduced all = prior_of(flight);
  PerCovariate own_score{};
  PerPair own_square{};
  std::vector<Reduced> reduced;
  for (std::size_t b = begin; b < end; ++b) {
    reduced.push_back(reduce(b));
    all += reduced.back();
    add_reduced(b, own_score, own_square);
  }
  const bool random = options_.random_flights && all.information > 0;
  const double per_information = random ? 1 / all.information : 0;
  for (int i = 0; i < n_blocks; ++i) {
    const Reduced& r = reduced[static_cast<std::size_t>(i)];
    const double share = r.information * per_information;
    score[i] = r.score - share * all.score;
    if (random) score[i] -= laplace(r.information, r.information_slope, all);
    for (int c = 0; c < k; ++c)
      own(i, n_blocks + c) =
          r.cross[static_cast<std::size_t>(c)] - share * all.cross[static_cast<std::size_t>(c)];
    for (int j = 0; j < n_blocks; ++j)
      own(j, i) = -share * reduced[static_cast<std::size_t>(j)].information;
    own(i, i) += r.information;
  }
  std::size_t pair = 0;
  for (int i = 0; i < k; ++i) {
    const double of_i = all.cross[static_cast<std::size_t>(i)] * per_information;
    score[n_blocks + i] = own_score[static_cast<std::size_t>(i)] - of_i * all.score;
    for (int j = i; j < k; ++j)
      own(n_blocks + i, n_blocks + j) = own(n_blocks + j, n_blocks + i) =
          own_square[pair++] - of_i * all.cross[static_cast<std::size_t>(j)];
  }
  own.bottomLeftCorner(k, n_blocks) = own.topRightCorner(n_blocks, k).transpose();
}

}  // namespace roundel::pattern::levels
