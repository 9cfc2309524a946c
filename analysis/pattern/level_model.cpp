#include "roundel/pattern/level_model.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <numbers>

#include "roundel/pattern/quadrature.h"

namespace roundel::pattern {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

// The softness is estimated as one more covariate, last in beta's working vector.
constexpr int max_k = max_covariates + 2;  // even, so that packets of two doubles fit
using Small = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, max_k, 1>;
using SmallSquare = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, max_k, max_k>;

// One value for each node of the quadrature, and one more to fill a register.
using Lanes = Eigen::Array<double, 6, 1>;

// How a block's level is taken: at its mode, or by quadrature over five nodes.
enum class Rule { mode, five_nodes };
Lanes lanes(const std::array<double, 5>& values, double last) {
  return Lanes{{values[0], values[1], values[2], values[3], values[4], last}};
}
const Lanes node_at = lanes(hermite_node, 0);
// log(weight exp(t^2)); the sixth lane weighs nothing.
const Lanes node_log_weight = node_at.square() + lanes(hermite_weight, 1e-300).log();

// What the rows of one block say, its own level integrated out: posterior means over that level.
struct BlockSum {
  double information{};  // of the block's level
  double score{};
  Small cross;  // information x covariates
  Small covariate_score;
  SmallSquare square;         // information x covariates x covariates
  double log_marginal{};      // log of the integral over the block's level
  double mean{}, variance{};  // of that level
};

// Sums over the rows of a block with its level held. Plain arrays: this is the inner loop.
struct NodeSum {
  double log_likelihood{}, information{}, score{};
  std::array<double, max_k> cross{}, covariate_score{};
  std::array<std::array<double, max_k>, max_k> square{};  // upper triangle
};

// The same at every node of the quadrature.
struct LaneSum {
  Lanes log_likelihood = Lanes::Zero(), information = Lanes::Zero(), score = Lanes::Zero();
  std::array<Lanes, max_k> cross, covariate_score;
  std::array<Lanes, max_k*(max_k + 1) / 2> square;  // upper triangle, by rows
  explicit LaneSum(std::size_t k) {
    for (std::size_t i = 0; i < k; ++i) cross[i] = covariate_score[i] = Lanes::Zero();
    for (std::size_t i = 0; i < k * (k + 1) / 2; ++i) square[i] = Lanes::Zero();
  }
};

// Score and Fisher information of one row with respect to its level.
struct RowSlope {
  double score{}, information{};
  double softness_covariate{};
  double log_likelihood{};
};

// All that is estimated by scoring steps.
struct State {
  VectorXd gain, beta;
  std::vector<double> flight, block;
  double softness{};

  void add(const State& step, double factor) {
    gain += factor * step.gain;
    beta += factor * step.beta;
    for (std::size_t i = 0; i < flight.size(); ++i) flight[i] += factor * step.flight[i];
    for (std::size_t i = 0; i < block.size(); ++i) block[i] += factor * step.block[i];
    softness = std::clamp(softness + factor * step.softness, 0.3, 40.0);
  }
  double largest() const {
    double out = std::abs(softness);
    if (gain.size() > 0) out = std::max(out, gain.cwiseAbs().maxCoeff());
    if (beta.size() > 0) out = std::max(out, beta.cwiseAbs().maxCoeff());
    return out;
  }
};

class Fitter {
 public:
  Fitter(const LevelData& data, const LevelOptions& options)
      : data_(data),
        options_(options),
        is_rate_(options.kind == LevelOptions::Kind::rate),
        fits_softness_(is_rate_ && !options.softness_db),
        n_sectors_(data.n_sectors),
        n_beta_(data.n_covariates),
        k_(data.n_covariates + (fits_softness_ ? 1 : 0)) {
    state_.gain = VectorXd::Zero(n_sectors_);
    state_.beta = VectorXd::Zero(n_beta_);
    state_.flight.assign(static_cast<std::size_t>(data.n_flights), 0.0);
    state_.block.assign(data.blocks.size(), 0.0);
    width_.assign(data.blocks.size(), 1.0);
    ceiling_.assign(static_cast<std::size_t>(std::max(1, data.n_hours)),
                    options.ceiling_by_hour && is_rate_ ? 0.95 : 1.0);
    state_.softness = options.softness_db.value_or(2.0);
    sigma_flight_ = options.random_flights ? 3.0 : 0.0;
    sigma_block_ = options.random_flights ? 1.0 : 0.0;
    sums_.resize(data.blocks.size());
    for (BlockSum& sum : sums_) {
      sum.cross = sum.covariate_score = Small::Zero(k_);
      sum.square = SmallSquare::Zero(k_, k_);
    }
    if (!is_rate_) start_strength();
    if (is_rate_ && options.ceiling_by_hour) start_ceiling();
    if (options.start && is_rate_) start_from(*options.start);
  }

  LevelFit run() {
    LevelFit fit;
    // First at the modes of all levels, which is quick and comes close; then, for a rate, with the
    // blocks' levels integrated out. From a fit of a part only the levels of the other flights are
    // far off: they settle while the rest is held.
    if (is_rate_ && options_.start && options_.random_flights) {
      settle_levels();
    } else {
      // At the modes the softness is held: blocks of little information, which are most, make the
      // objective rise without end as it grows (one flat site in thirty ran off to 9 dB).
      holds_softness_ = fits_softness_ && options_.random_flights;
      fit.converged = climb(fit, options_.max_iterations);
      holds_softness_ = false;
    }
    if (is_rate_ && options_.random_flights) {
      rule_ = Rule::five_nodes;
      fit.converged = climb(fit, options_.max_iterations / 2);
    }
    eliminate();
    finish(fit);
    return fit;
  }

 private:
  void start_strength() {
    // Starts near the mean level; dB levels are far from 0.
    double sum = 0, weight = 0;
    for (const LevelRow& row : data_.rows) {
      sum += double{row.chances} * (row.observed - row.offset_db);
      weight += row.chances;
    }
    centre_ = weight > 0 ? sum / weight : 0;
    noise_ = 2.0;
  }

  void start_from(const LevelFit& other) {
    if (other.gain_db.size() != n_sectors_ || other.beta.size() != n_beta_) return;
    state_.gain = other.gain_db;
    state_.beta = other.beta;
    if (fits_softness_) state_.softness = other.softness_db;
    if (other.ceiling.size() == ceiling_.size()) ceiling_ = other.ceiling;
    if (!options_.random_flights) return;
    if (other.flight_db.size() == state_.flight.size()) state_.flight = other.flight_db;
    sigma_flight_ = other.sigma_flight_db;
    sigma_block_ = other.sigma_block_db;
  }

  // The ceiling starts at what the strongest rows show: were it left to find its way from above,
  // a poor start of the levels would be taken for a ceiling of one, and elevation for the rest.
  void start_ceiling() {
    std::vector<float> offsets;
    for (const LevelRow& row : data_.rows) offsets.push_back(row.offset_db);
    const auto at = offsets.begin() + static_cast<std::ptrdiff_t>(offsets.size() * 85 / 100);
    std::nth_element(offsets.begin(), at, offsets.end());
    std::vector<double> shares;
    for (const LevelRow& row : data_.rows) {
      if (row.offset_db < *at || row.chances < 40) continue;
      const double m = options_.messages_per_chance;
      const double q = std::min(1.0, row.observed * m / double{row.chances});
      shares.push_back(m == 1 ? q : 1 - std::pow(1 - q, 1 / m));
    }
    if (shares.size() < 20) return;
    const auto top = shares.begin() + static_cast<std::ptrdiff_t>(shares.size() * 60 / 100);
    std::nth_element(shares.begin(), top, shares.end());
    std::fill(ceiling_.begin(), ceiling_.end(), std::clamp(*top, 0.3, 0.98));
  }

  RowSlope slope(const LevelRow& row, double level_db) const {
    RowSlope out;
    const double n_squitters = row.chances;
    if (!is_rate_) {
      const double precision = n_squitters / (noise_ * noise_);
      out.information = precision;
      out.score = precision * (row.observed - centre_ - level_db);
      return out;
    }
    const double m = options_.messages_per_chance;
    const double n = n_squitters / m;
    const double z = std::clamp(level_db / state_.softness, -20.0, 20.0);
    const double share = 1 / (1 + std::exp(-z));
    const double pm = ceiling_[row.hour];
    const double p = pm * share;
    double heard_p = p, slope_p = pm * share * (1 - share) / state_.softness;
    if (m != 1) {
      const double missed = std::pow(1 - p, m - 1);
      slope_p *= m * missed;
      heard_p = 1 - missed * (1 - p);
    }
    const double q = std::clamp(heard_p, 1e-9, 1 - 1e-9);
    const double heard = std::min<double>(row.observed, n);
    const double variance = q * (1 - q);
    out.score = (heard - n * q) * slope_p / variance;
    out.information = n * slope_p * slope_p / variance;
    out.softness_covariate = -z;
    out.log_likelihood = heard * std::log(q) + (n - heard) * std::log1p(-q);
    return out;
  }

  // A row's level without its block's own.
  double level_of(const LevelBlock& block, const LevelRow& row) const {
    double level = state_.gain[block.sector] + state_.flight[block.flight] + row.offset_db;
    for (int k = 0; k < n_beta_; ++k)
      level += state_.beta[k] * row.covariate[static_cast<std::size_t>(k)];
    return level;
  }

  // One pass over all rows at the present estimates.
  void pass() {
    hour_score_.assign(ceiling_.size(), 0.0);
    hour_information_.assign(ceiling_.size(), 0.0);
    log_likelihood_ = 0;
    residual_ = 0;
    for (std::size_t b = 0; b < data_.blocks.size(); ++b) {
      if (options_.random_flights && is_rate_) {
        integrate(b);
      } else {
        evaluate(b);
      }
      log_likelihood_ += sums_[b].log_marginal;
    }
  }

  NodeSum rows_at(const LevelBlock& block, double block_level) const {
    NodeSum sum;
    const auto k = static_cast<std::size_t>(k_), n_beta = static_cast<std::size_t>(n_beta_);
    std::array<double, max_k> covariates{};
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
      const LevelRow& row = data_.rows[r];
      const RowSlope at = slope(row, level_of(block, row) + block_level);
      for (std::size_t i = 0; i < n_beta; ++i) covariates[i] = row.covariate[i];
      if (fits_softness_) covariates[n_beta] = at.softness_covariate;
      sum.log_likelihood += at.log_likelihood;
      sum.information += at.information;
      sum.score += at.score;
      for (std::size_t i = 0; i < k; ++i) {
        const double weighted = at.information * covariates[i];
        sum.cross[i] += weighted;
        sum.covariate_score[i] += at.score * covariates[i];
        for (std::size_t j = i; j < k; ++j) sum.square[i][j] += weighted * covariates[j];
      }
    }
    return sum;
  }

  // Adds a node's sums with a weight.
  void mix(BlockSum& sum, const NodeSum& node, double weight) const {
    sum.information += weight * node.information;
    sum.score += weight * node.score;
    for (int i = 0; i < k_; ++i) {
      const auto at = static_cast<std::size_t>(i);
      sum.cross[i] += weight * node.cross[at];
      sum.covariate_score[i] += weight * node.covariate_score[at];
      for (int j = i; j < k_; ++j) {
        const double value = weight * node.square[at][static_cast<std::size_t>(j)];
        sum.square(i, j) += value;
        if (j != i) sum.square(j, i) += value;
      }
    }
  }
  static void clear(BlockSum& sum) {
    sum.information = sum.score = sum.mean = sum.variance = 0;
    sum.cross.setZero();
    sum.covariate_score.setZero();
    sum.square.setZero();
  }

  // Rate: adaptive Gauss-Hermite quadrature over the block's level. Where all is heard, or nothing,
  // the likelihood is one-sided and its mode says little of the level; taking the mode instead
  // shrinks the pattern by a fifth when levels vary by 3 dB between sectors.
  void integrate(std::size_t b) {
    if (rule_ == Rule::mode) {
      take_mode(b);
      return;
    }
    const LevelBlock& block = data_.blocks[b];
    const double centre = state_.block[b], width = width_[b];
    const double q = block_precision();
    const Lanes level = centre + std::numbers::sqrt2 * width * node_at;
    const LaneSum sums = rows_at_nodes(block, level);
    Lanes weight = sums.log_likelihood - 0.5 * q * level.square() + node_log_weight;
    const double top = weight.maxCoeff();
    weight = (weight - top).exp();
    const double total = weight.sum();
    weight /= total;
    BlockSum& sum = sums_[b];
    const auto mean = [&weight](const Lanes& values) { return (weight * values).sum(); };
    sum.information = mean(sums.information);
    sum.score = mean(sums.score);
    std::size_t pair = 0;
    for (int i = 0; i < k_; ++i) {
      const auto at = static_cast<std::size_t>(i);
      sum.cross[i] = mean(sums.cross[at]);
      sum.covariate_score[i] = mean(sums.covariate_score[at]);
      for (int j = i; j < k_; ++j) sum.square(i, j) = sum.square(j, i) = mean(sums.square[pair++]);
    }
    sum.mean = mean(level);
    sum.variance = std::max(1e-6, mean(level.square()) - sum.mean * sum.mean);
    sum.log_marginal = top + std::log(total) + std::log(width) + 0.5 * std::log(q);
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
      add_ceiling(data_.rows[r], level_of(block, data_.rows[r]) + sum.mean);
  }

  void take_mode(std::size_t b) {
    const LevelBlock& block = data_.blocks[b];
    const double level = state_.block[b], q = block_precision();
    const NodeSum node = rows_at(block, level);
    BlockSum& sum = sums_[b];
    clear(sum);
    mix(sum, node, 1);
    sum.mean = level;
    sum.variance = 1 / (sum.information + q);  // the curvature's
    sum.log_marginal = node.log_likelihood - 0.5 * q * level * level;
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
      add_ceiling(data_.rows[r], level_of(block, data_.rows[r]) + level);
  }

  // slope() of all rows of a block at all nodes at once. This is where the time goes: 242 000 rows
  // took 265 ms node by node.
  LaneSum rows_at_nodes(const LevelBlock& block, const Lanes& block_level) const {
    LaneSum sum(static_cast<std::size_t>(k_));
    const auto k = static_cast<std::size_t>(k_), n_beta = static_cast<std::size_t>(n_beta_);
    const double m = options_.messages_per_chance;
    const double per_softness = 1 / state_.softness;
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
      const LevelRow& row = data_.rows[r];
      const double n = row.chances / m, heard = std::min<double>(row.observed, n);
      const double pm = ceiling_[row.hour];
      const Lanes z = ((level_of(block, row) + block_level) * per_softness).max(-20.0).min(20.0);
      const Lanes share = 1 / (1 + (-z).exp());
      const Lanes p = pm * share;
      Lanes slope_p = p * (1 - share) * per_softness;
      Lanes q = p;
      if (m != 1) {
        const Lanes missed = ((m - 1) * (1 - p).log()).exp();
        slope_p *= m * missed;
        q = 1 - missed * (1 - p);
      }
      q = q.max(1e-9).min(1 - 1e-9);
      const Lanes per_variance = slope_p / (q * (1 - q));
      const Lanes score = (heard - n * q) * per_variance;
      const Lanes information = n * slope_p * per_variance;
      sum.log_likelihood += heard * q.log() + (n - heard) * (1 - q).log();
      sum.information += information;
      sum.score += score;
      std::array<Lanes, max_k> covariates;
      for (std::size_t i = 0; i < n_beta; ++i)
        covariates[i] = Lanes::Constant(double{row.covariate[i]});
      if (fits_softness_) covariates[n_beta] = -z;
      std::size_t pair = 0;
      for (std::size_t i = 0; i < k; ++i) {
        const Lanes weighted = information * covariates[i];
        sum.cross[i] += weighted;
        sum.covariate_score[i] += score * covariates[i];
        for (std::size_t j = i; j < k; ++j) sum.square[pair++] += weighted * covariates[j];
      }
    }
    return sum;
  }

  // Strength, or no random levels: the block's level is at its mode, which is then exact.
  void evaluate(std::size_t b) {
    const LevelBlock& block = data_.blocks[b];
    const double q = block_precision();
    BlockSum& sum = sums_[b];
    const NodeSum at_zero = rows_at(block, 0);
    clear(sum);
    mix(sum, at_zero, 1);
    const double mode = options_.random_flights ? sum.score / (sum.information + q) : 0;
    sum.score -= sum.information * mode;
    sum.covariate_score -= sum.cross * mode;
    sum.mean = mode;
    sum.variance = options_.random_flights ? 1 / (sum.information + q) : 0;
    sum.log_marginal = at_zero.log_likelihood;
    if (is_rate_) {
      for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
        add_ceiling(data_.rows[r], level_of(block, data_.rows[r]));
      return;
    }
    double squares = 0;
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
      const LevelRow& row = data_.rows[r];
      const double off = row.observed - centre_ - level_of(block, row) - mode;
      squares += row.chances * (off * off + sum.variance);
    }
    residual_ += squares;
    // At the mode: residuals and the level's own prior.
    sum.log_marginal = -0.5 * (squares / (noise_ * noise_)) - 0.5 * q * mode * mode;
  }

  // The quadrature takes the width of each block's posterior. Its centre moves with the state.
  void recentre() {
    for (std::size_t b = 0; b < width_.size(); ++b) {
      const BlockSum& sum = sums_[b];
      width_[b] = std::clamp(1 / std::sqrt(sum.information + block_precision()), 0.03, 6.0);
      if (rule_ != Rule::five_nodes) continue;
      width_[b] = std::clamp(std::sqrt(sum.variance), 0.03, 6.0);
      state_.block[b] = sum.mean;
    }
  }

  // Slope of the likelihood in the hour's ceiling pm.
  void add_ceiling(const LevelRow& row, double level_db) {
    if (!options_.ceiling_by_hour) return;
    const double z = level_db / state_.softness;
    if (z < 0) return;  // far from the ceiling there is nothing to learn of it
    const double share = 1 / (1 + std::exp(-std::min(z, 30.0)));
    const double m = options_.messages_per_chance;
    const double n = row.chances / m;
    const double p = ceiling_[row.hour] * share;
    const double missed = m == 1 ? 1.0 : std::pow(1 - p, m - 1);
    const double q = std::clamp(1 - missed * (1 - p), 1e-9, 1 - 1e-9);
    const double slope_q = m * missed * share;
    const double heard = std::min<double>(row.observed, n);
    hour_score_[row.hour] += (heard - n * q) * slope_q / (q * (1 - q));
    hour_information_[row.hour] += n * slope_q * slope_q / (q * (1 - q));
  }

  double block_precision() const {
    return sigma_block_ > 0 ? 1 / (sigma_block_ * sigma_block_) : 0;
  }
  double flight_precision() const {
    return sigma_flight_ > 0 ? 1 / (sigma_flight_ * sigma_flight_) : 0;
  }

  // What is left of a block once its own level has been eliminated.
  struct Reduced {
    double information{}, score{};
    Small cross;
  };
  Reduced reduce(std::size_t b) const {
    const BlockSum& sum = sums_[b];
    if (!options_.random_flights) return {sum.information, sum.score, sum.cross};
    const double kept = block_precision() / (sum.information + block_precision());
    // Off its posterior mean a block's level takes part of the score; on it, none.
    const double left = (1 - kept) * (sum.score - block_precision() * sum.mean);
    return {sum.information * kept, sum.score - left, sum.cross * kept};
  }
  Small reduced_score(std::size_t b) const {
    const BlockSum& sum = sums_[b];
    if (!options_.random_flights) return sum.covariate_score;
    return sum.covariate_score - sum.cross * ((sum.score - block_precision() * sum.mean) /
                                              (sum.information + block_precision()));
  }
  // The same for the covariates' own part.
  SmallSquare reduced_square(std::size_t b) const {
    const BlockSum& sum = sums_[b];
    if (!options_.random_flights) return sum.square;
    return sum.square - sum.cross * sum.cross.transpose() / (sum.information + block_precision());
  }

  // Visits each flight's range of blocks.
  template <class Visit>
  void each_flight(const Visit& visit) const {
    std::size_t begin = 0;
    while (begin < data_.blocks.size()) {
      std::size_t end = begin + 1;
      while (end < data_.blocks.size() && data_.blocks[end].flight == data_.blocks[begin].flight)
        ++end;
      visit(data_.blocks[begin].flight, begin, end);
      begin = end;
    }
  }

  // Normal equations for gains and covariates after all random levels are eliminated.
  void eliminate() {
    const int n = n_sectors_ + k_;
    matrix_ = MatrixXd::Zero(n, n);
    right_ = VectorXd::Zero(n);
    estimated_levels_ = 0;
    std::vector<Reduced> reduced;
    each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
      reduced.clear();
      double information = flight_precision(), score = -flight_precision() * state_.flight[flight];
      Small cross = Small::Zero(k_);
      for (std::size_t b = begin; b < end; ++b) {
        reduced.push_back(reduce(b));
        const Reduced& r = reduced.back();
        information += r.information;
        score += r.score;
        cross += r.cross;
        matrix_.bottomRightCorner(k_, k_) += reduced_square(b);
        right_.tail(k_) += reduced_score(b);
      }
      const bool random = options_.random_flights && information > 0;
      if (random) estimated_levels_ += 1 - flight_precision() / information;
      for (std::size_t b = begin; b < end; ++b) {
        const int s = data_.blocks[b].sector;
        const Reduced& r = reduced[b - begin];
        right_[s] += r.score;
        matrix_(s, s) += r.information;
        matrix_.block(s, n_sectors_, 1, k_) += r.cross.transpose();
        if (!random) continue;
        right_[s] -= r.information * score / information;
        matrix_.block(s, n_sectors_, 1, k_) -= r.information / information * cross.transpose();
        for (std::size_t c = begin; c < end; ++c)
          matrix_(s, data_.blocks[c].sector) -=
              r.information * reduced[c - begin].information / information;
      }
      if (random) {
        matrix_.bottomRightCorner(k_, k_) -= cross * cross.transpose() / information;
        right_.tail(k_) -= cross * (score / information);
      }
    });
    matrix_.bottomLeftCorner(k_, n_sectors_) = matrix_.topRightCorner(n_sectors_, k_).transpose();
    if (holds_softness_) {
      matrix_.row(n - 1).setZero();
      matrix_.col(n - 1).setZero();
      matrix_(n - 1, n - 1) = 1;
      right_[n - 1] = 0;
      return add_priors();
    }
    // Laplace: a flight's level was not observed but estimated, which costs half the log of its
    // information, and that goes as 1 / w^2. Without this term w comes out too small, and every
    // gain with it.
    if (fits_softness_) right_[n - 1] += estimated_levels_ / state_.softness;
    add_priors();
  }

  void add_priors() {
    if (options_.priors) {
      const double gain_precision = 1 / (options_.gain_prior_db * options_.gain_prior_db);
      for (int s = 0; s < n_sectors_; ++s) {
        matrix_(s, s) += gain_precision;
        right_[s] -= gain_precision * state_.gain[s];
      }
      for (int k = 0; k < n_beta_; ++k) {
        const double sd = options_.covariate_prior[static_cast<std::size_t>(k)];
        matrix_(n_sectors_ + k, n_sectors_ + k) += 1 / (sd * sd);
        right_[n_sectors_ + k] -= state_.beta[k] / (sd * sd);
      }
    }
  }

  // Steps until nothing moves by a hundredth of a decibel (without random levels: to the last
  // digit).
  bool climb(LevelFit& fit, int most) {
    const double tolerance = options_.random_flights ? 0.01 : 1e-10;
    const bool is_near = options_.start != nullptr;
    recentre();
    pass();
    for (int i = 1; i <= most; ++i, ++fit.iterations) {
      eliminate();
      double step = update();
      if (is_rate_ && options_.ceiling_by_hour && (is_near || fit.iterations > 3))
        step = std::max(step, update_ceiling());
      if (options_.random_flights) update_variances();
      const bool is_done = step < tolerance && i > (is_near ? 1 : 3);
      // update() has just passed over all rows; a new centre of the quadrature asks for another,
      // ceilings and variances alone can wait for the next step.
      if (is_done || rule_ == Rule::five_nodes || !is_rate_) {
        recentre();
        pass();
      }
      if (is_done) return true;
    }
    return false;
  }

  void settle_levels() {
    constexpr int steps = 5;
    const VectorXd held = VectorXd::Zero(n_sectors_ + k_);
    pass();
    for (int i = 0; i < steps; ++i) {
      state_.add(level_step(held), 1);
      pass();
    }
  }

  // One scoring step, halved until the penalised likelihood rises; returns the change made, dB.
  double update() {
    const State before = state_;
    const double objective_before = objective();
    State step = full_step();
    double factor =
        std::min(1.0, 4.0 * std::max(1.0, state_.softness) / std::max(1e-9, step.largest()));
    for (int halving = 0; halving < 12; ++halving, factor /= 2) {
      state_ = before;
      state_.add(step, factor);
      pass();
      if (objective() >= objective_before - 1e-9 * std::abs(objective_before)) {
        return factor * step.largest();
      }
    }
    state_ = before;
    pass();
    return 0;
  }

  // The step of all parameters: gains and covariates solved for, random levels by back
  // substitution.
  State full_step() const { return level_step(Eigen::LDLT<MatrixXd>(matrix_).solve(right_)); }

  // The step of flights' and blocks' levels that goes with one of the rest.
  State level_step(const VectorXd& solved) const {
    State step;
    step.flight.assign(state_.flight.size(), 0.0);
    step.block.assign(state_.block.size(), 0.0);
    step.gain = solved.head(n_sectors_);
    step.beta = solved.segment(n_sectors_, n_beta_);
    step.softness = fits_softness_ ? solved[n_sectors_ + n_beta_] : 0;
    if (!options_.random_flights) return step;
    each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
      double information = flight_precision(), score = -flight_precision() * state_.flight[flight];
      for (std::size_t b = begin; b < end; ++b) {
        const Reduced r = reduce(b);
        information += r.information;
        score +=
            r.score - r.information * solved[data_.blocks[b].sector] - r.cross.dot(solved.tail(k_));
      }
      const double flight_step = information > 0 ? std::clamp(score / information, -6.0, 6.0) : 0;
      step.flight[flight] = flight_step;
      for (std::size_t b = begin; b < end && is_rate_; ++b) {
        const BlockSum& sum = sums_[b];
        const double block_score = sum.score - block_precision() * sum.mean -
                                   sum.cross.dot(solved.tail(k_)) -
                                   sum.information * (solved[data_.blocks[b].sector] + flight_step);
        step.block[b] = std::clamp(block_score / (sum.information + block_precision()), -4.0, 4.0);
      }
    });
    return step;
  }

  // What update() raises: the log likelihood less the priors of all levels.
  double objective() const {
    double out = log_likelihood_;
    if (fits_softness_) out += estimated_levels_ * std::log(state_.softness);
    if (options_.random_flights) {
      for (double level : state_.flight) out -= 0.5 * flight_precision() * level * level;
    }
    if (options_.priors) {
      out -= 0.5 * state_.gain.squaredNorm() / (options_.gain_prior_db * options_.gain_prior_db);
      for (int k = 0; k < n_beta_; ++k) {
        const double sd = options_.covariate_prior[static_cast<std::size_t>(k)];
        out -= 0.5 * state_.beta[k] * state_.beta[k] / (sd * sd);
      }
    }
    return out;
  }

  double update_ceiling() {
    // Hours share one mean; an hour with little data stays near it (sd 0.03).
    double sum = 0, weight = 0;
    for (std::size_t h = 0; h < ceiling_.size(); ++h) {
      if (hour_information_[h] <= 0) continue;
      const double free_value = ceiling_[h] + hour_score_[h] / hour_information_[h];
      const double w = 1 / (1 / hour_information_[h] + 0.03 * 0.03);
      sum += w * std::clamp(free_value, 0.05, 0.985);
      weight += w;
    }
    if (weight <= 0) return 0;
    const double mean = sum / weight;
    constexpr double precision = 1 / (0.03 * 0.03);
    double largest = 0;
    for (std::size_t h = 0; h < ceiling_.size(); ++h) {
      const double step =
          (hour_score_[h] + precision * (mean - ceiling_[h])) / (hour_information_[h] + precision);
      const double next = std::clamp(ceiling_[h] + std::clamp(step, -0.2, 0.2), 0.02, 0.985);
      largest = std::max(largest, std::abs(next - ceiling_[h]));
      ceiling_[h] = next;
    }
    return largest;
  }

  void update_variances() {
    // Expectation-maximisation, with the posterior variance of each level.
    double block_sum = 0, block_n = 0, flight_sum = 0, flight_n = 0;
    each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
      double information = flight_precision();
      for (std::size_t b = begin; b < end; ++b) {
        information += reduce(b).information;
        // A block that says next to nothing would only slow the step down.
        if (sums_[b].information < 0.05) continue;
        block_sum += sums_[b].mean * sums_[b].mean + sums_[b].variance;
        block_n += 1;
      }
      if (information < flight_precision() + 0.02) return;
      flight_sum += state_.flight[flight] * state_.flight[flight] + 1 / information;
      flight_n += 1;
    });
    if (block_n > 0) sigma_block_ = std::clamp(std::sqrt(block_sum / block_n), 0.05, 6.0);
    if (flight_n > 0) sigma_flight_ = std::clamp(std::sqrt(flight_sum / flight_n), 0.1, 12.0);
    if (!is_rate_)
      noise_ = std::clamp(
          std::sqrt(residual_ / static_cast<double>(std::max<std::size_t>(1, data_.rows.size()))),
          0.05, 20.0);
  }

  void finish(LevelFit& fit) {
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
  void robust(LevelFit& fit, const MatrixXd& inverse) {
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

  double bearing_off_deg(const LevelBlock& block) const {
    double sum = 0, chances = 0;
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
      sum += data_.rows[r].chances * data_.rows[r].bearing_off_deg;
      chances += data_.rows[r].chances;
    }
    return chances > 0 ? sum / chances : 0;
  }

  // One flight's part of the normal equations.
  void own_equations(std::uint32_t flight, std::size_t begin, std::size_t end, MatrixXd& own,
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

  const LevelData& data_;
  const LevelOptions& options_;
  const bool is_rate_, fits_softness_;
  bool holds_softness_ = false;
  const int n_sectors_, n_beta_, k_;
  State state_;
  std::vector<double> ceiling_, hour_score_, hour_information_;
  double sigma_flight_{}, sigma_block_{}, noise_ = 1, centre_ = 0, residual_ = 0;
  double log_likelihood_{}, estimated_levels_{};
  std::vector<BlockSum> sums_;
  std::vector<double> width_;
  Rule rule_ = Rule::mode;
  MatrixXd matrix_;
  VectorXd right_;
};

}  // namespace

LevelFit fit_levels(const LevelData& data, const LevelOptions& options) {
  if (data.rows.empty() || data.n_sectors == 0) return {};
  assert(data.n_covariates <= max_covariates);
  return Fitter(data, options).run();
}

}  // namespace roundel::pattern
