#include <Eigen/Cholesky>
#include <Eigen/LU>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {
namespace {

// Solves (1 - own part) x = score: what a flight's score would be had it had no part in the
// estimate. Of a flight that crosses many sectors, each gives it a small part, and the series 1 +
// own part + (own part)^2 ... ends soon; solving outright goes by the cube of their number.
VectorXd without_itself(const MatrixXd& own, const MatrixXd& part, const VectorXd& score) {
  constexpr Eigen::Index many = 24;
  constexpr int most_terms = 40;
  constexpr double enough = 1e-6;
  if (own.rows() > many) {
    VectorXd term = score, sum = score;
    for (int i = 0; i < most_terms; ++i) {
      term = own * (part * term);
      sum += term;
      if (term.norm() <= enough * sum.norm()) return sum;
    }
  }
  const MatrixXd leave = MatrixXd::Identity(own.rows(), own.cols()) - own * part;
  return leave.partialPivLu().solve(score);
}

}  // namespace

void Fitter::finish(LevelFit& fit) {
  fit.gain_db = state_.gain.array() + centre_;
  fit.beta = state_.beta;
  fit.softness_db = state_.softness;
  fit.ceiling = ceiling_;
  fit.flight_db = state_.flight;
  fit.slope_db = slopes_of(state_.gain);
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
  const MatrixXd unfolded = unfold(inverse);
  fit.influence = MatrixXd::Zero(data_.n_flights, n_sectors_);
  MatrixXd beta_influence = MatrixXd::Zero(data_.n_flights, static_cast<Eigen::Index>(k_));
  MatrixXd information = MatrixXd::Zero(data_.n_flights, n_sectors_);
  each_flight_beside([&](std::size_t, std::uint32_t flight, std::size_t begin, std::size_t end) {
    const VectorXd shift = influence_of(flight, begin, end, unfolded, information);
    fit.influence.row(flight) = shift.head(n_sectors_).transpose();
    beta_influence.row(flight) = shift.tail(static_cast<Eigen::Index>(k_)).transpose();
  });
  fit.sector_flights.assign(static_cast<std::size_t>(n_sectors_), 0);
  fit.sector_off_deg.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  for (const LevelBlock& block : data_.blocks) {
    const double of_block = information(block.flight, block.sector);
    fit.sector_flights[block.sector] += of_block > 0.02;
    fit.sector_off_deg[block.sector] += of_block * bearing_off_deg(block);
  }
  for (Eigen::Index flight = 0; flight < data_.n_flights; ++flight) {
    if (data_.airframe.empty()) break;
    const Eigen::Index first = data_.airframe[static_cast<std::size_t>(flight)];
    if (first == flight) continue;
    for (MatrixXd* of : {&fit.influence, &beta_influence, &information}) {
      of->row(first) += of->row(flight);
      of->row(flight).setZero();
    }
  }
  fit.covariance = fit.influence.transpose() * fit.influence;
  const MatrixXd beta_covariance = beta_influence.transpose() * beta_influence;
  fit.beta_covariance = beta_covariance.topLeftCorner(n_beta_, n_beta_);
  if (fits_softness_)
    fit.softness_se_db = std::sqrt(std::max(0.0, beta_covariance(n_beta_, n_beta_)));
  fit.sector_effective.assign(static_cast<std::size_t>(n_sectors_), 0.0);
  for (const Neighbour& one : neighbours_) fit.sector_off_deg[one.sector] = 0;  // its middle
  for (int s = 0; s < n_sectors_; ++s) {
    const auto at = static_cast<std::size_t>(s);
    const double total = information.col(s).sum(), squares = information.col(s).squaredNorm();
    if (squares <= 0) continue;
    fit.sector_effective[at] = total * total / squares;
    fit.sector_off_deg[at] /= total;
  }
}

// What a flight shifts gains and covariates by; the information of its blocks goes into
// `information`.
VectorXd Fitter::influence_of(std::uint32_t flight, std::size_t begin, std::size_t end,
                              const MatrixXd& unfolded, MatrixXd& information) const {
  std::vector<int> support;
  for (std::size_t b = begin; b < end; ++b) support.push_back(data_.blocks[b].sector);
  const int n_blocks = static_cast<int>(support.size());
  for (int i = 0; i < n_blocks && has_slopes(); ++i)
    support.push_back(n_sectors_ + support[static_cast<std::size_t>(i)]);
  for (int i = 0; i < static_cast<int>(k_); ++i)
    support.push_back(static_cast<int>(first_beta()) + i);
  const int size = static_cast<int>(support.size());
  MatrixXd own = MatrixXd::Zero(size, size);
  VectorXd score = VectorXd::Zero(size);
  own_equations(flight, begin, end, own, score);
  for (int i = 0; i < n_blocks; ++i)
    information(flight, support[static_cast<std::size_t>(i)]) = own(i, i);
  const VectorXd inflated =
      options_.leverage ? without_itself(own, unfolded(support, support), score) : score;
  return unfolded(Eigen::all, support) * inflated;
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
  const int beta = has_slopes() ? 2 * n_blocks : n_blocks;
  Reduced all = prior_of(flight);
  std::vector<Reduced> reduced;
  std::vector<ReducedCovariates> covariates;
  for (std::size_t b = begin; b < end; ++b) {
    reduced.push_back(reduce(b));
    covariates.push_back(reduce_covariates(b));
    all += reduced.back();
  }
  const bool random = options_.random_flights && all.information > 0;
  const double per_information = random ? 1 / all.information : 0;
  // What each of the flight's own parameters takes of its level.
  VectorXd follows = VectorXd::Zero(own.rows());
  for (int b = 0; b < n_blocks; ++b) {
    const Reduced& r = reduced[static_cast<std::size_t>(b)];
    const ReducedCovariates& of_block = covariates[static_cast<std::size_t>(b)];
    follows[b] = r.information;
    score[b] = r.score;
    if (random && rule_ == Rule::blocks)
      score[b] -= laplace(r.information, r.information_slope, all);
    own(b, b) = r.information;
    if (has_slopes()) {
      follows[n_blocks + b] = r.cross[k_];
      score[n_blocks + b] = of_block.score[k_];
      own(n_blocks + b, b) = r.cross[k_];
    }
    std::size_t pair = 0;
    for (int i = 0; i < static_cast<int>(k_rows_); ++i) {
      const bool is_slope = i == k;
      const int at = is_slope ? n_blocks + b : beta + i;
      if (!is_slope) {
        own(at, b) = r.cross[static_cast<std::size_t>(i)];
        score[at] += of_block.score[static_cast<std::size_t>(i)];
      }
      for (int j = i; j < static_cast<int>(k_rows_); ++j, ++pair) {
        const int other = j == k ? n_blocks + b : beta + j;
        own(std::max(at, other), std::min(at, other)) += of_block.square[pair];
      }
    }
  }
  for (int i = 0; i < k; ++i) follows[beta + i] = all.cross[static_cast<std::size_t>(i)];
  own.triangularView<Eigen::StrictlyUpper>() = own.transpose();
  score -= follows * (all.score * per_information);
  own -= follows * follows.transpose() * per_information;
}

// As the inverse would be with slopes apart: they go as the gains that make them.
MatrixXd Fitter::unfold(const MatrixXd& inverse) const {
  if (!has_slopes()) return inverse;
  const auto k = static_cast<Eigen::Index>(k_);
  MatrixXd columns = MatrixXd::Zero(inverse.rows(), first_beta() + k);
  columns.leftCols(n_sectors_) = inverse.leftCols(n_sectors_);
  columns.rightCols(k) = inverse.rightCols(k);
  for (const Neighbour& one : neighbours_)
    columns.col(n_sectors_ + one.sector) += one.per_deg * inverse.col(one.other);
  MatrixXd out = MatrixXd::Zero(columns.cols(), columns.cols());
  out.topRows(n_sectors_) = columns.topRows(n_sectors_);
  out.bottomRows(k) = columns.bottomRows(k);
  for (const Neighbour& one : neighbours_)
    out.row(n_sectors_ + one.sector) += one.per_deg * columns.row(one.other);
  return out;
}

}  // namespace roundel::pattern::levels
