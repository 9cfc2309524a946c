#include <Eigen/Cholesky>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

// Normal equations for gains and covariates after all random levels are eliminated: gains first,
// then their slopes, which fold() gives to the gains that make them, then covariates.
void Fitter::eliminate() {
  const Eigen::Index beta = first_beta(), n = beta + static_cast<Eigen::Index>(k_);
  parts_.resize(n_parts());
  for (PassSum& part : parts_) {
    part.equations.matrix = MatrixXd::Zero(n, n);
    part.equations.right = VectorXd::Zero(n);
    part.equations.own = {};
    part.equations.estimated_levels = 0;
  }
  each_flight_beside(
      [&](std::size_t part, std::uint32_t flight, std::size_t begin, std::size_t end) {
        eliminate(flight, begin, end, parts_[part].equations);
      });
  Equations all = std::move(parts_[0].equations);
  for (std::size_t i = 1; i < parts_.size(); ++i) {
    const Equations& part = parts_[i].equations;
    all.matrix += part.matrix;
    all.right += part.right;
    all.own += part.own;
    all.estimated_levels += part.estimated_levels;
  }
  matrix_ = std::move(all.matrix);
  right_ = std::move(all.right);
  estimated_levels_ = all.estimated_levels;
  std::size_t pair = 0;
  for (std::size_t i = 0; i < k_; ++i) {
    const Eigen::Index at = beta + static_cast<Eigen::Index>(i);
    right_[at] += all.own.score[i];
    for (std::size_t j = i; j < k_rows_; ++j, ++pair)
      if (j < k_) matrix_(beta + static_cast<Eigen::Index>(j), at) += all.own.square[pair];
  }
  matrix_.triangularView<Eigen::StrictlyUpper>() = matrix_.transpose();
  if (has_slopes()) fold();
  const Eigen::Index last = right_.size() - 1;
  if (holds_softness_) {
    matrix_.row(last).setZero();
    matrix_.col(last).setZero();
    matrix_(last, last) = 1;
    right_[last] = 0;
    return add_priors();
  }
  // Laplace: a flight's level was not observed but estimated, which costs half the log of its
  // information, and that goes as 1 / w^2. Without this term w comes out too small, and every
  // gain with it.
  if (fits_softness_ && rule_ != Rule::flights) right_[last] += estimated_levels_ / state_.softness;
  add_priors();
}

// A flight's part, in the lower triangle: what its blocks say, less what its own level takes of it.
void Fitter::eliminate(std::uint32_t flight, std::size_t begin, std::size_t end,
                       Equations& to) const {
  const Eigen::Index beta = first_beta();
  const std::size_t n_blocks = end - begin;
  std::vector<Eigen::Index>& at = to.at;      // gains, then their slopes, then covariates
  std::vector<double>& follows = to.follows;  // what each takes of the flight's level
  at.clear();
  follows.clear();
  Reduced all = prior_of(flight);
  to.reduced.clear();
  for (std::size_t b = begin; b < end; ++b) {
    const Reduced& r = to.reduced.emplace_back(reduce(b));
    const ReducedCovariates own = reduce_covariates(b);
    const Eigen::Index s = data_.blocks[b].sector;
    all += r;
    to.own += own;
    to.right[s] += r.score;
    double* const column = &to.matrix(0, s);  // columns lie together
    column[s] += r.information;
    for (std::size_t i = 0; i < k_; ++i) column[beta + static_cast<Eigen::Index>(i)] += r.cross[i];
    if (has_slopes()) add_slope(s, r, own, to);
    at.push_back(s);
    follows.push_back(r.information);
  }
  if (!options_.random_flights || all.information <= 0) return;
  const double per_information = 1 / all.information;
  to.estimated_levels += 1 - flight_precision() * per_information;
  if (rule_ == Rule::blocks)
    for (std::size_t b = 0; b < n_blocks; ++b)
      to.right[at[b]] -= laplace(to.reduced[b].information, to.reduced[b].information_slope, all);
  if (has_slopes()) {
    for (std::size_t b = 0; b < n_blocks; ++b) {
      at.push_back(n_sectors_ + at[b]);
      follows.push_back(to.reduced[b].cross[k_]);
    }
  }
  for (std::size_t i = 0; i < k_; ++i) {
    at.push_back(beta + static_cast<Eigen::Index>(i));
    follows.push_back(all.cross[i]);
  }
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double share = follows[i] * per_information;
    to.right[at[i]] -= share * all.score;
    double* const column = &to.matrix(0, at[i]);
    for (std::size_t j = i; j < at.size(); ++j) column[at[j]] -= share * follows[j];
  }
}

// A block's own part in its sector's slope.
void Fitter::add_slope(Eigen::Index sector, const Reduced& block, const ReducedCovariates& own,
                       Equations& to) const {
  const Eigen::Index at = n_sectors_ + sector;
  to.right[at] += own.score[k_];
  to.matrix(at, sector) += block.cross[k_];
  // Pairs with the bearing within the sector, the last of each row.
  std::size_t pair = 0;
  for (std::size_t i = 0; i < k_; ++i) {
    pair += k_rows_ - i;
    to.matrix(first_beta() + static_cast<Eigen::Index>(i), at) += own.square[pair - 1];
  }
  to.matrix(at, at) += own.square[pair];
}

void Fitter::add_priors() {
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

// Steps until nothing moves by a fiftieth of a decibel (without random levels: to the last
// digit; for a start, and where another rule takes over: by a tenth).
bool Fitter::climb(LevelFit& fit, int most) {
  const bool is_last = options_.errors && (!is_rate_ || rule_ == Rule::flights);
  const double tolerance = !options_.random_flights ? 1e-10 : is_last ? 0.02 : 0.1;
  // A sector that two flights tell of can go back and forth for ever in whole steps.
  constexpr int quick_steps = 5;
  constexpr double relaxed = 0.7;
  const bool is_near = options_.start != nullptr;
  recentre();
  pass();
  for (int i = 1; i <= most; ++i, ++fit.iterations) {
    eliminate();
    bool is_sure = false;
    const bool is_whole = i <= quick_steps || !options_.random_flights;
    double step = update(is_whole ? 1 : relaxed, is_sure);
    if (is_rate_ && options_.ceiling_by_hour && (is_near || fit.iterations > 3))
      step = std::max(step, update_ceiling());
    if (options_.random_flights) update_variances();
    const bool is_done = step < tolerance && i > (is_near ? 1 : 3);
    // update() has just passed over all rows. Ceilings and variances alone can wait for the next
    // step; a new centre of the quadrature asks for another pass, while steps are large.
    const bool is_old = is_done || rule_ != Rule::mode;
    if (is_old) recentre();
    if (is_old && !is_sure) pass();
    if (is_done) return true;
  }
  return false;
}

void Fitter::settle_levels() {
  constexpr int steps = 3;
  const VectorXd held = VectorXd::Zero(n_sectors_ + static_cast<Eigen::Index>(k_));
  is_asked_likelihood_ = false;
  pass();
  for (int i = 0; i < steps; ++i) {
    state_.add(level_step(held), 1);
    pass();
  }
  is_asked_likelihood_ = true;
}

// The largest change that a step makes. A sector counts by what is known of it: one of which next
// to nothing is known wanders far and tells nobody.
double Fitter::size_of(const State& step) const {
  constexpr double well_known = 25;  // information, per square decibel
  if (!options_.random_flights) return step.largest();
  double out = std::abs(step.softness);
  for (Eigen::Index s = 0; s < n_sectors_; ++s)
    out = std::max(out, std::abs(step.gain[s]) * std::min(1.0, matrix_(s, s) / well_known));
  return step.beta.size() == 0 ? out : std::max(out, step.beta.cwiseAbs().maxCoeff());
}

// One scoring step, halved until the penalised likelihood rises; returns the change made, dB.
// `is_sure`: it was so small that scoring cannot fail, and the likelihood was not asked; of such a
// step, `share` is made.
double Fitter::update(double share, bool& is_sure) {
  State step = full_step();
  double factor = std::min(1.0, longest_step() / std::max(1e-9, step.largest()));
  constexpr double small_db = 0.5;
  const double size = size_of(step);
  // Of levels in decibels the likelihood is a parabola, and a whole step ends at its top.
  const bool is_close = !is_rate_ || (rule_ != Rule::mode && size < small_db);
  is_sure = options_.random_flights && is_close && factor == 1;
  if (is_sure) {
    recentre();
    state_.add(step, share);
    pass();
    return share * size;
  }
  const State before = state_;
  const double objective_before = objective();
  for (int halving = 0; halving < 12; ++halving, factor /= 2) {
    state_ = before;
    state_.add(step, factor);
    pass();
    if (objective() >= objective_before - 1e-9 * std::abs(objective_before)) {
      return factor * size;
    }
  }
  state_ = before;
  pass();
  return 0;
}

// The step of all parameters: gains and covariates solved for, random levels by back
// substitution.
State Fitter::full_step() const {
  VectorXd solved = Eigen::LDLT<MatrixXd>(matrix_).solve(right_);
  // A wandering sector would keep all others from a whole step.
  const double most = rule_ == Rule::mode ? longest_step() : 1;
  if (options_.random_flights)
    for (Eigen::Index s = 0; s < n_sectors_; ++s)
      if (is_wandering(s)) solved[s] = std::clamp(solved[s], -most, most);
  return level_step(solved);
}

// The step of flights' and blocks' levels that goes with one of the rest.
State Fitter::level_step(const VectorXd& solved) const {
  State step;
  step.flight.assign(state_.flight.size(), 0.0);
  step.block.assign(state_.block.size(), 0.0);
  step.gain = solved.head(n_sectors_);
  step.beta = solved.segment(n_sectors_, n_beta_);
  step.softness = fits_softness_ ? solved[n_sectors_ + n_beta_] : 0;
  if (!options_.random_flights) return step;
  const VectorXd slope_step = slopes_of(step.gain);
  each_flight_beside([&](std::size_t, std::uint32_t flight, std::size_t begin, std::size_t end) {
    double information = flight_precision(), score = -flight_precision() * state_.flight[flight];
    for (std::size_t b = begin; b < end; ++b) {
      const Reduced r = reduce(b);
      information += r.information;
      score += r.score - r.information * solved[data_.blocks[b].sector] - dot(r.cross, solved);
      if (has_slopes()) score -= r.cross[k_] * slope_step[data_.blocks[b].sector];
    }
    const double flight_step = information > 0 ? std::clamp(score / information, -6.0, 6.0) : 0;
    step.flight[flight] = flight_step;
    for (std::size_t b = begin; b < end && is_rate_; ++b) {
      const BlockSum& sum = sums_[b];
      double block_score = sum.score - block_precision() * sum.mean - dot(sum.cross, solved) -
                           sum.information * (solved[data_.blocks[b].sector] + flight_step);
      if (has_slopes()) block_score -= sum.cross[k_] * slope_step[data_.blocks[b].sector];
      step.block[b] = std::clamp(block_score / (sum.information + block_precision()), -4.0, 4.0);
    }
  });
  return step;
}

// What update() raises: the log likelihood less the priors of all levels.
double Fitter::objective() const {
  double out = log_likelihood_;
  if (options_.random_flights && rule_ != Rule::flights) {
    for (double level : state_.flight) out -= 0.5 * flight_precision() * level * level;
    if (rule_ == Rule::blocks) {
      each_flight([&](std::uint32_t flight, std::size_t begin, std::size_t end) {
        Reduced all = prior_of(flight);
        for (std::size_t b = begin; b < end; ++b) all += reduce(b);
        out -= 0.5 * std::log(all.information);
      });
    } else if (fits_softness_) {
      out += estimated_levels_ * std::log(state_.softness);
    }
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

double Fitter::update_ceiling() {
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

void Fitter::update_variances() {
  // Expectation-maximisation, with the posterior variance of each level. Where nearly all is heard
  // a rate does not tell high gains and a wide spread of blocks from lower ones and a narrow one,
  // and ran off to 6 dB of spread and 8 dB of gain; a tenth of the blocks is taken to be as usual.
  constexpr double expected_share = 0.1, expected_block_db = 1;
  std::vector<LevelSpreads> of_part(n_parts());
  each_flight_beside([&](std::size_t part, std::uint32_t flight, std::size_t begin,
                         std::size_t end) { add_spread(flight, begin, end, of_part[part]); });
  Spread block, flight;
  for (const LevelSpreads& part : of_part) {
    block += part.block;
    flight += part.flight;
  }
  if (block.n > 0) {
    if (is_rate_) {
      block.sum += expected_share * block.n * expected_block_db * expected_block_db;
      block.n += expected_share * block.n;
    }
    const double next = std::clamp(std::sqrt(block.sum / block.n), 0.05, 6.0);
    // Expectation-maximisation creeps. Where most is known already, a step of twice the length
    // gets as far in half the time.
    const bool is_bold =
        is_rate_ && (options_.start != nullptr || !options_.errors || rule_ == Rule::flights);
    sigma_block_ = is_bold ? std::clamp(next * next / sigma_block_, 0.05, 6.0) : next;
  }
  if (flight.n > 0) sigma_flight_ = std::clamp(std::sqrt(flight.sum / flight.n), 0.1, 12.0);
  if (!is_rate_)
    noise_ = std::clamp(
        std::sqrt(residual_ / static_cast<double>(std::max<std::size_t>(1, data_.rows.size()))),
        0.05, 20.0);
}

void Fitter::add_spread(std::uint32_t flight, std::size_t begin, std::size_t end,
                        LevelSpreads& to) const {
  double information = flight_precision();
  for (std::size_t b = begin; b < end; ++b) information += reduce(b).information;
  for (std::size_t b = begin; b < end; ++b) {
    const BlockSum& sum = sums_[b];
    // A block that says next to nothing would only slow the step down.
    if (sum.information < 0.05) continue;
    // Its level follows the flight's, which is uncertain, too: of a flight in one or two sectors
    // that is most of what is not known.
    const double follows = sum.information / (sum.information + block_precision());
    to.block +=
        {sum.mean * sum.mean + sum.variance +
             (rule_ == Rule::flights ? sum.variance_by_flight : follows * follows / information),
         1};
  }
  if (information < flight_precision() + 0.02) return;
  to.flight += {rule_ == Rule::flights
                    ? flight_mean_[flight] * flight_mean_[flight] + flight_variance_[flight]
                    : state_.flight[flight] * state_.flight[flight] + 1 / information,
                1};
}

}  // namespace roundel::pattern::levels
