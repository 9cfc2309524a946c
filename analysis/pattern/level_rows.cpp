#include <numbers>

#include "analysis/pattern/beside.h"
#include "analysis/pattern/level_fitter.h"
#include "roundel/pattern/quadrature.h"

namespace roundel::pattern::levels {
namespace {

Lanes lanes(const std::array<double, 5>& values, double last) {
  return Lanes{{values[0], values[1], values[2], values[3], values[4], last}};
}
const Lanes node_at = lanes(hermite_node, 0);
// log(weight exp(t^2)); the sixth lane weighs nothing.
const Lanes node_log_weight = node_at.square() + lanes(hermite_weight, 1e-300).log();

}  // namespace

// Score and Fisher information of one row with respect to its level.
struct RowSlope {
  double score{}, information{};
  double softness_covariate{};
  double log_likelihood{};
};

RowSlope Fitter::slope(const LevelRow& row, double level_db) const {
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
  const Threshold::At at = options_.threshold.at(z);
  const double pm = ceiling_[row.hour];
  const double p = pm * at.share;
  double heard_p = p, slope_p = pm * at.slope / state_.softness;
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
double Fitter::level_of(const LevelBlock& block, const LevelRow& row) const {
  double level = state_.gain[block.sector] + state_.flight[block.flight] + row.offset_db;
  for (int k = 0; k < n_beta_; ++k)
    level += state_.beta[k] * row.covariate[static_cast<std::size_t>(k)];
  return level;
}

// One pass over all rows at the present estimates. Many rows go in parts, which are as many on
// every machine.
void Fitter::pass() {
  constexpr std::size_t many_rows = 10'000, parts_of_many = 8;
  half_log_precision_ = 0.5 * std::log(block_precision());
  const std::size_t n_blocks = data_.blocks.size();
  parts_.resize(data_.rows.size() < many_rows ? 1 : parts_of_many);
  each_beside(parts_.size(), [&](std::size_t i) {
    PassSum& part = parts_[i];
    part.hour_score.assign(ceiling_.size(), 0.0);
    part.hour_information.assign(ceiling_.size(), 0.0);
    part.log_likelihood = part.residual = 0;
    pass_over(n_blocks * i / parts_.size(), n_blocks * (i + 1) / parts_.size(), part);
  });
  hour_score_.assign(ceiling_.size(), 0.0);
  hour_information_.assign(ceiling_.size(), 0.0);
  log_likelihood_ = 0;
  residual_ = 0;
  for (const PassSum& part : parts_) {
    log_likelihood_ += part.log_likelihood;
    residual_ += part.residual;
    for (std::size_t h = 0; h < ceiling_.size(); ++h) {
      hour_score_[h] += part.hour_score[h];
      hour_information_[h] += part.hour_information[h];
    }
  }
}

void Fitter::pass_over(std::size_t begin, std::size_t end, PassSum& all) {
  for (std::size_t b = begin; b < end; ++b) {
    if (options_.random_flights && is_rate_) {
      integrate(b, all);
    } else {
      evaluate(b, all);
    }
    all.log_likelihood += sums_[b].log_marginal;
  }
}

// Adds what a row says of its covariates. With z in its name: times the softness's own, -z.
void Fitter::add_covariates(BlockSum& sum, const LevelRow& row, double score, double information,
                            double score_z, double information_z, double information_zz) const {
  const auto n_beta = static_cast<std::size_t>(n_beta_);
  std::size_t pair = 0;
  for (std::size_t i = 0; i < n_beta; ++i) {
    const double covariate = row.covariate[i];
    const double weighted = information * covariate;
    sum.cross[i] += weighted;
    sum.covariate_score[i] += score * covariate;
    for (std::size_t j = i; j < n_beta; ++j) sum.square[pair++] += weighted * row.covariate[j];
    if (fits_softness_) sum.square[pair++] += information_z * covariate;
  }
  if (!fits_softness_) return;
  sum.cross[n_beta] += information_z;
  sum.covariate_score[n_beta] += score_z;
  sum.square[pair] += information_zz;
}

// Adds a row at a level; returns its log likelihood.
double Fitter::add_row(BlockSum& sum, const LevelRow& row, double level_db) const {
  const RowSlope at = slope(row, level_db);
  sum.information += at.information;
  sum.score += at.score;
  const double z = at.softness_covariate;
  add_covariates(sum, row, at.score, at.information, at.score * z, at.information * z,
                 at.information * z * z);
  return at.log_likelihood;
}

// slope() of all rows of a block at all nodes at once, into `of_row`; returns their log likelihood.
// This is where the time goes: 242 000 rows took 265 ms node by node.
Lanes Fitter::rows_at_nodes(const LevelBlock& block, const Lanes& block_level,
                            std::vector<RowLanes>& of_row) const {
  const double m = options_.messages_per_chance;
  const double per_softness = 1 / state_.softness;
  if (of_row.size() < block.n_rows) of_row.resize(block.n_rows);
  Lanes log_likelihood = Lanes::Zero();
  for (std::uint32_t i = 0; i < block.n_rows; ++i) {
    const std::uint32_t r = block.first_row + i;
    const LevelRow& row = data_.rows[r];
    const double n = weight_[r] * row.chances / m;
    const double heard = std::min<double>(weight_[r] * row.observed, n);
    const double pm = ceiling_[row.hour];
    RowLanes& at = of_row[i];
    at.z = ((level_of(block, row) + block_level) * per_softness).max(-20.0).min(20.0);
    const Lanes log_odds = options_.threshold.log_odds(at.z);
    const Lanes share = 1 / (1 + (-log_odds).exp());
    const Lanes p = pm * share;
    Lanes slope_p = p * (1 - share) * options_.threshold.log_odds_slope(at.z) * per_softness;
    Lanes q = p;
    if (m != 1) {
      const Lanes missed = ((m - 1) * (1 - p).log()).exp();
      slope_p *= m * missed;
      q = 1 - missed * (1 - p);
    }
    q = q.max(1e-9).min(1 - 1e-9);
    const Lanes per_variance = slope_p / (q * (1 - q));
    at.score = (heard - n * q) * per_variance;
    at.information = n * slope_p * per_variance;
    if (heard > 0) log_likelihood += heard * q.log();
    if (n > heard) log_likelihood += (n - heard) * (1 - q).log();
  }
  return log_likelihood;
}

// Rate: adaptive Gauss-Hermite quadrature over the block's level. Where all is heard, or nothing,
// the likelihood is one-sided and its mode says little of the level; taking the mode instead
// shrinks the pattern by a fifth when levels vary by 3 dB between sectors.
void Fitter::integrate(std::size_t b, PassSum& all) {
  if (rule_ == Rule::mode) {
    take_mode(b, all);
    return;
  }
  const LevelBlock& block = data_.blocks[b];
  const double centre = state_.block[b], width = width_[b];
  const double q = block_precision();
  const Lanes level = centre + std::numbers::sqrt2 * width * node_at;
  Lanes weight =
      rows_at_nodes(block, level, all.of_row) - 0.5 * q * level.square() + node_log_weight;
  const double top = weight.maxCoeff();
  weight = (weight - top).exp();
  const double total = weight.sum();
  weight /= total;
  BlockSum& sum = sums_[b];
  sum = {};
  const auto mean = [](const Lanes& weights, const Lanes& values) {
    return (weights * values).sum();
  };
  sum.mean = mean(weight, level);
  sum.variance = std::max(1e-6, mean(weight, level.square()) - sum.mean * sum.mean);
  sum.log_marginal = top + std::log(total) + std::log(width) + half_log_precision_;
  Lanes information_at = Lanes::Zero();
  for (std::uint32_t i = 0; i < block.n_rows; ++i) {
    const LevelRow& row = data_.rows[block.first_row + i];
    const RowLanes& at = all.of_row[i];
    information_at += at.information;
    const double score = mean(weight, at.score), information = mean(weight, at.information);
    sum.score += score;
    sum.information += information;
    // Covariates are the same at every node; all but the softness's.
    const Lanes weight_z = -weight * at.z;
    const Lanes information_z = weight_z * at.information;
    add_covariates(sum, row, score, information, mean(weight_z, at.score), information_z.sum(),
                   -mean(information_z, at.z));
    add_ceiling(row, level_of(block, row) + sum.mean, all);
  }
  // The regression on the nodes' levels.
  sum.information_slope =
      mean(weight, (information_at - sum.information) * (level - sum.mean)) / sum.variance;
}

void Fitter::take_mode(std::size_t b, PassSum& all) {
  const LevelBlock& block = data_.blocks[b];
  const double level = state_.block[b], q = block_precision();
  BlockSum& sum = sums_[b];
  sum = {};
  double log_likelihood = 0;
  for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
    const LevelRow& row = data_.rows[r];
    const double level_db = level_of(block, row) + level;
    log_likelihood += add_row(sum, row, level_db);
    add_ceiling(row, level_db, all);
  }
  sum.mean = level;
  sum.variance = 1 / (sum.information + q);  // the curvature's
  sum.log_marginal = log_likelihood - 0.5 * q * level * level;
}

// Strength, or no random levels: the block's level is at its mode, which is then exact.
void Fitter::evaluate(std::size_t b, PassSum& all) {
  const LevelBlock& block = data_.blocks[b];
  const double q = block_precision();
  BlockSum& sum = sums_[b];
  sum = {};
  double log_likelihood = 0;
  for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
    log_likelihood += add_row(sum, data_.rows[r], level_of(block, data_.rows[r]));
  const double mode = options_.random_flights ? sum.score / (sum.information + q) : 0;
  sum.score -= sum.information * mode;
  for (std::size_t i = 0; i < k_; ++i) sum.covariate_score[i] -= sum.cross[i] * mode;
  sum.mean = mode;
  sum.variance = options_.random_flights ? 1 / (sum.information + q) : 0;
  sum.log_marginal = log_likelihood;
  if (is_rate_) {
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
      add_ceiling(data_.rows[r], level_of(block, data_.rows[r]), all);
    return;
  }
  double squares = 0;
  for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
    const LevelRow& row = data_.rows[r];
    const double off = row.observed - centre_ - level_of(block, row) - mode;
    squares += row.chances * (off * off + sum.variance);
  }
  all.residual += squares;
  // At the mode: residuals and the level's own prior.
  sum.log_marginal = -0.5 * (squares / (noise_ * noise_)) - 0.5 * q * mode * mode;
}

// The quadrature takes the width of each block's posterior. Its centre moves with the state.
void Fitter::recentre() {
  for (std::size_t b = 0; b < width_.size(); ++b) {
    const BlockSum& sum = sums_[b];
    width_[b] = std::clamp(1 / std::sqrt(sum.information + block_precision()), 0.03, 6.0);
    if (rule_ != Rule::five_nodes) continue;
    width_[b] = std::clamp(std::sqrt(sum.variance), 0.03, 6.0);
    state_.block[b] = sum.mean;
  }
}

// Slope of the likelihood in the hour's ceiling pm.
void Fitter::add_ceiling(const LevelRow& row, double level_db, PassSum& all) const {
  if (!options_.ceiling_by_hour) return;
  const double z = level_db / state_.softness;
  if (z < 0) return;  // far from the ceiling there is nothing to learn of it
  const double share = options_.threshold.at(z).share;
  const double m = options_.messages_per_chance;
  const double n = row.chances / m;
  const double p = ceiling_[row.hour] * share;
  const double missed = m == 1 ? 1.0 : std::pow(1 - p, m - 1);
  const double q = std::clamp(1 - missed * (1 - p), 1e-9, 1 - 1e-9);
  const double slope_q = m * missed * share;
  const double heard = std::min<double>(row.observed, n);
  all.hour_score[row.hour] += (heard - n * q) * slope_q / (q * (1 - q));
  all.hour_information[row.hour] += n * slope_q * slope_q / (q * (1 - q));
}

}  // namespace roundel::pattern::levels
