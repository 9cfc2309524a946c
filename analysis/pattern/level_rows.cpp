#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {
// Score and Fisher information of one row with respect to its level.
struct RowSlope {
  double score{}, information{};
  double softness_covariate{};
  double log_likelihood{};
  double share{};  // that the threshold lets through
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
  out.share = at.share;
  if (is_asked_likelihood_) out.log_likelihood = heard * std::log(q) + (n - heard) * std::log1p(-q);
  return out;
}

// A row's level without its block's own.
double Fitter::level_of(const LevelBlock& block, const LevelRow& row) const {
  double level = state_.gain[block.sector] + slope_[block.sector] * row.bearing_off_deg +
                 state_.flight[block.flight] + row.offset_db;
  for (int k = 0; k < n_beta_; ++k)
    level += state_.beta[k] * row.covariate[static_cast<std::size_t>(k)];
  return level;
}

// One pass over all rows at the present estimates.
void Fitter::pass() {
  half_log_precision_ = 0.5 * std::log(block_precision());
  slope_ = slopes_of(state_.gain);
  parts_.resize(n_parts());
  each_beside(parts_.size(), [&](std::size_t i) {
    PassSum& part = parts_[i];
    part.hour_score.assign(ceiling_.size(), 0.0);
    part.hour_information.assign(ceiling_.size(), 0.0);
    part.log_likelihood = part.residual = 0;
    pass_over(part_begin(i), part_begin(i + 1), part);
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
  if (is_rate_ && rule_ != Rule::mode) {
    each_flight(begin, end, [&](std::uint32_t flight, std::size_t first, std::size_t last) {
      integrate(flight, first, last, all);
    });
    return;
  }
  for (std::size_t b = begin; b < end; ++b) {
    if (options_.random_flights && is_rate_) {
      take_mode(b, all);
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
  const float off_deg = row.bearing_off_deg, by_z = static_cast<float>(information_z);
  const float by_off = static_cast<float>(information) * off_deg;
  std::size_t pair = 0;
  for (std::size_t i = 0; i < n_beta; ++i) {
    const float covariate = row.covariate[i];
    const float weighted = static_cast<float>(information) * covariate;
    sum.cross[i] += weighted;
    sum.covariate_score[i] += score * covariate;
    for (std::size_t j = i; j < n_beta; ++j) sum.square[pair++] += weighted * row.covariate[j];
    if (fits_softness_) sum.square[pair++] += by_z * covariate;
    if (has_slopes()) sum.square[pair++] += weighted * off_deg;
  }
  if (fits_softness_) {
    sum.cross[n_beta] += by_z;
    sum.covariate_score[n_beta] += score_z;
    sum.square[pair++] += static_cast<float>(information_zz);
    if (has_slopes()) sum.square[pair++] += by_z * off_deg;
  }
  if (!has_slopes()) return;
  sum.cross[k_] += by_off;
  sum.covariate_score[k_] += score * off_deg;
  sum.square[pair] += by_off * off_deg;
}

// Adds a row at a level.
RowSlope Fitter::add_row(BlockSum& sum, const LevelRow& row, double level_db) const {
  const RowSlope at = slope(row, level_db);
  sum.information += at.information;
  sum.score += at.score;
  const double z = at.softness_covariate;
  add_covariates(sum, row, at.score, at.information, at.score * z, at.information * z,
                 at.information * z * z);
  return at;
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
    const RowSlope at = add_row(sum, row, level_db);
    log_likelihood += at.log_likelihood;
    add_ceiling(row, at.share, all);
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
    log_likelihood += add_row(sum, data_.rows[r], level_of(block, data_.rows[r])).log_likelihood;
  const double mode = options_.random_flights ? sum.score / (sum.information + q) : 0;
  sum.score -= sum.information * mode;
  for (std::size_t i = 0; i < k_rows_; ++i) sum.covariate_score[i] -= sum.cross[i] * mode;
  sum.mean = mode;
  sum.variance = options_.random_flights ? 1 / (sum.information + q) : 0;
  sum.log_marginal = log_likelihood;
  if (is_rate_) {
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r)
      add_ceiling(data_.rows[r], slope(data_.rows[r], level_of(block, data_.rows[r])).share, all);
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

// Slope of the likelihood in the hour's ceiling pm.
void Fitter::add_ceiling(const LevelRow& row, double share, PassSum& all) const {
  // Far from the ceiling there is nothing to learn of it.
  if (!options_.ceiling_by_hour || share < 0.5) return;
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
