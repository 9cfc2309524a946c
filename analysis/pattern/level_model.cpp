#include "roundel/pattern/level_model.h"

#include <cassert>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

Fitter::Fitter(const LevelData& data, const LevelOptions& options)
    : data_(data),
      options_(options),
      is_rate_(options.kind == LevelOptions::Kind::rate),
      fits_softness_(is_rate_ && !options.softness_db),
      n_sectors_(data.n_sectors),
      n_beta_(data.n_covariates),
      k_(static_cast<std::size_t>(data.n_covariates) + (fits_softness_ ? 1U : 0U)) {
  state_.gain = VectorXd::Zero(n_sectors_);
  state_.beta = VectorXd::Zero(n_beta_);
  state_.flight.assign(static_cast<std::size_t>(data.n_flights), 0.0);
  state_.block.assign(data.blocks.size(), 0.0);
  width_.assign(data.blocks.size(), 1.0);
  weight_.assign(data.rows.size(), 1.0);
  ceiling_.assign(static_cast<std::size_t>(std::max(1, data.n_hours)),
                  options.ceiling_by_hour && is_rate_ ? 0.95 : 1.0);
  state_.softness = options.softness_db.value_or(2.0);
  sigma_flight_ = options.random_flights ? 3.0 : 0.0;
  sigma_block_ = options.random_flights ? 1.0 : 0.0;
  sums_.resize(data.blocks.size());
  if (!is_rate_) start_strength();
  if (is_rate_ && options.ceiling_by_hour) start_ceiling();
  if (options.start && is_rate_) start_from(*options.start);
}

LevelFit Fitter::run() {
  LevelFit fit;
  // First at the modes of all levels, which is quick and comes close; then, for a rate, with the
  // blocks' levels integrated out. From a fit of a part only the levels of the other flights are
  // far off: they settle while the rest is held.
  if (is_rate_ && options_.start && options_.random_flights) {
    pass();
    eliminate();
    find_slopes();
    settle_levels();
  } else {
    // At the modes the softness is held: blocks of little information, which are most, make the
    // objective rise without end as it grows (one flat site in thirty ran off to 9 dB).
    holds_softness_ = fits_softness_ && options_.random_flights;
    // Soon the steps are smaller than what the modes are off, and slopes not yet known.
    const int rough_steps = is_rate_ ? 4 : 2;
    fit.converged = climb(fit, options_.random_flights ? rough_steps : options_.max_iterations);
    holds_softness_ = false;
  }
  if (options_.random_flights && !has_slopes()) find_slopes();
  if (!is_rate_ && options_.random_flights) fit.converged = climb(fit, options_.max_iterations);
  if (is_rate_ && options_.random_flights) {
    weigh_rows();
    rule_ = Rule::blocks;
    // From a start two steps are as near as flights' integrals need, which go on by themselves.
    constexpr int steps_between = 2;
    const bool goes_on = options_.start && options_.errors;
    fit.converged = climb(fit, goes_on ? steps_between : options_.max_iterations / 2);
    if (options_.errors) {
      start_flights();
      fit.converged = climb(fit, options_.max_iterations / 2);
    }
  }
  eliminate();
  finish(fit);
  return fit;
}

void Fitter::start_strength() {
  // Starts near the mean level; dB levels are far from 0.
  double sum = 0, weight = 0;
  for (const LevelRow& row : data_.rows) {
    sum += double{row.chances} * (row.observed - row.offset_db);
    weight += row.chances;
  }
  centre_ = weight > 0 ? sum / weight : 0;
  noise_ = 2.0;
}

void Fitter::start_from(const LevelFit& other) {
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
void Fitter::start_ceiling() {
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

// Where all is heard, what is missing tells of turning aircraft and of weak ones near by, not of
// the antenna; thousands of such rows would outweigh the few that tell. A row weighs by the share
// that a middling flight and sector would lose there, against `trusted`: losses smaller than that
// are nobody's gain. The weight is the same whatever was heard.
void Fitter::weigh_rows() {
  constexpr double trusted = 0.02;
  double sum = 0, information = 0;
  for (std::size_t b = 0; b < data_.blocks.size(); ++b) {
    sum += sums_[b].information * state_.gain[data_.blocks[b].sector];
    information += sums_[b].information;
  }
  const double mean_db = information > 0 ? sum / information : 0;
  // A logistic curve of this softness is near to one averaged over flights' levels.
  constexpr double logistic_sd = 1.7;
  const double spread_db = std::hypot(sigma_flight_, sigma_block_) / logistic_sd;
  const double softness = std::hypot(state_.softness, spread_db);
  for (std::size_t r = 0; r < data_.rows.size(); ++r) {
    const double lost = 1 / (1 + std::exp((data_.rows[r].offset_db + mean_db) / softness));
    weight_[r] = lost / (lost + trusted);
  }
}

}  // namespace roundel::pattern::levels

namespace roundel::pattern {

LevelFit fit_levels(const LevelData& data, const LevelOptions& options) {
  if (data.rows.empty() || data.n_sectors == 0) return {};
  assert(data.n_covariates <= max_covariates);
  return levels::Fitter(data, options).run();
}

}  // namespace roundel::pattern
