#include <Eigen/Cholesky>
#include <cassert>
#include <cmath>

#include "analysis/pattern/level_flight.h"

namespace roundel::pattern {
namespace levels {
namespace {

constexpr double first_softness_db = 1.5, first_ceiling = 0.88, first_flight_db = 3;
constexpr double lean_prior_deg = 1.5, curve_prior_db = 14;
constexpr double skew_prior = 0.25, log_tail_prior = 0.15, log_tail_usual = -0.05;
constexpr double softness_prior = 0.35, log_odds_prior = 1.5;  // of its logarithm; of the ceiling
// Of the curve by elevation: a smooth one bends by this from knot to knot; Student's t of two
// degrees lets the few knots of a null bend by much more.
constexpr double bend_db = 0.15, bend_freedom = 2, end_slope_db = 0.5;
constexpr double held = 1e8;  // precision of what is not estimated

double log_odds(double share) { return std::log(share / (1 - share)); }
double share_of(double log_odds) { return 1 / (1 + std::exp(-log_odds)); }

// Expectation-maximisation creeps: a longer step gets as far in less time.
double further(double from, double to, double least, double most) {
  return std::clamp(to * std::sqrt(to / from), std::max(least, from / 2), std::min(most, from * 2));
}

// Rows that differ in offset only: how much was heard of how many chances.
class Offsets {
 public:
  void add(double offset_db, double heard, double chances) {
    const double bin = std::clamp(offset_db - lowest_db, 0.0, n_bins - 1.0);
    auto& at = bins_[static_cast<std::size_t>(bin)];
    at.heard += heard;
    at.chances += chances;
  }
  double chances() const {
    double out = 0;
    for (const Bin& bin : bins_) out += bin.chances;
    return out;
  }
  // The level at offset 0 at which as much would be heard.
  double level_db(double softness_db, double ceiling) const {
    double low = -40, high = 20;  // where all is heard, more would say the same
    for (int i = 0; i < 24; ++i) {
      const double middle = (low + high) / 2;
      double more = 0;
      for (std::size_t b = 0; b < n_bins; ++b) {
        const double offset = lowest_db + static_cast<double>(b) + 0.5;
        more +=
            bins_[b].chances * ceiling * share_of((middle + offset) / softness_db) - bins_[b].heard;
      }
      (more > 0 ? high : low) = middle;
    }
    return (low + high) / 2;
  }

 private:
  static constexpr double lowest_db = -40;
  static constexpr std::size_t n_bins = 100;
  struct Bin {
    double heard{}, chances{};
  };
  std::array<Bin, n_bins> bins_{};
};

}  // namespace

Fitter::Fitter(const LevelData& data, const LevelOptions& options)
    : data_(data),
      options_(options),
      is_rate_(options.kind == LevelOptions::Kind::rate),
      layout_(data, options),
      width_deg_(360.0 / data.n_sectors),
      threshold_(options.threshold) {
  state_.parameters = VectorXd::Zero(layout_.size());
  state_.parameters[layout_.shape()] = std::log(options.softness_db.value_or(first_softness_db));
  state_.parameters[layout_.shape() + 2] = options.is_shape_free ? log_tail_usual : 0;
  state_.ceiling_off.assign(static_cast<std::size_t>(std::max(1, data.n_hours)), 0.0);
  state_.flight.assign(static_cast<std::size_t>(data.n_flights), 0.0);
  state_.sigma_flight = first_flight_db;
  state_.sigma_block = options.random_flights ? 1.0 : 0.0;
  state_.bend_weight.assign(ElevationCurve::n_knots, 0.1);  // until it has found its shape
  state_.sigma_ceiling = 0.3;
  state_.block.assign(data.blocks.size(), 0.0);
  std::vector<double> told(ElevationCurve::n_knots);
  for (const LevelRow& row : data.rows) {
    const double knot = (row.elevation_deg - ElevationCurve::first_deg) / ElevationCurve::step_deg;
    told[static_cast<std::size_t>(std::clamp(knot + 0.5, 0.0, ElevationCurve::n_knots - 1.0))] +=
        row.chances;
  }
  anchor_ = std::max_element(told.begin(), told.end()) - told.begin();
  if (is_rate_)
    start_rate();
  else
    start_strength();
  if (options.start != nullptr) start_from(*options.start);
  take_shape();
}

// Starts near the mean level; levels in dBFS are far from 0.
void Fitter::start_strength() {
  double sum = 0, weight = 0;
  for (const LevelRow& row : data_.rows) {
    sum += double{row.chances} * (row.observed - row.offset_db);
    weight += row.chances;
  }
  state_.parameters.head(layout_.n_sectors).setConstant(weight > 0 ? sum / weight : 0);
  state_.noise = 2;
}

// The ceiling starts at what the strongest rows show: were it left to find its way from above,
// a poor start of the levels would be taken for a ceiling of one, and elevation for the rest.
double Fitter::ceiling_of_the_strong() const {
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
  if (shares.size() < 20) return first_ceiling;
  const auto top = shares.begin() + static_cast<std::ptrdiff_t>(shares.size() * 60 / 100);
  std::nth_element(shares.begin(), top, shares.end());
  return std::clamp(*top, 0.3, 0.98);
}

// Each elevation, then each sector, starts where it hears as much as it did: from nought, a deep
// null of the antenna is never found.
void Fitter::start_rate() {
  const double ceiling = options_.ceiling_by_hour ? ceiling_of_the_strong() : 1;
  if (options_.ceiling_by_hour) state_.parameters[layout_.shape() + 3] = log_odds(ceiling);
  if (!options_.random_flights) return;
  const double m = options_.messages_per_chance;
  // As wide as the threshold is when flights' levels are not known.
  const double softness = std::hypot(first_softness_db, first_flight_db / 1.7);
  std::vector<Offsets> knots(ElevationCurve::n_knots),
      sectors(static_cast<std::size_t>(data_.n_sectors));
  const auto heard = [&](const LevelRow& row) {
    const double share = std::min(1.0, row.observed * m / double{row.chances});
    return row.chances * (m == 1 ? share : 1 - std::pow(1 - share, 1 / m));
  };
  for (const LevelRow& row : data_.rows) {
    const double knot = (row.elevation_deg - ElevationCurve::first_deg) / ElevationCurve::step_deg;
    knots[static_cast<std::size_t>(std::clamp(knot + 0.5, 0.0, ElevationCurve::n_knots - 1.0))].add(
        row.offset_db, heard(row), row.chances);
  }
  constexpr double enough = 400;
  const double anchor_db = knots[static_cast<std::size_t>(anchor_)].level_db(softness, ceiling);
  for (Index k = 0; k < layout_.n_elevations; ++k) {
    const Offsets& knot = knots[static_cast<std::size_t>(k)];
    if (knot.chances() < enough) continue;
    state_.parameters[layout_.elevation() + k] =
        std::clamp(knot.level_db(softness, ceiling) - anchor_db, -30.0, 3.0);
  }
  ElevationCurve curve;
  curve.gain_db = state_.parameters.segment(layout_.elevation(), layout_.n_elevations);
  for (const LevelBlock& block : data_.blocks)
    for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
      const LevelRow& row = data_.rows[r];
      sectors[block.sector].add(row.offset_db + curve.at(row.elevation_deg), heard(row),
                                row.chances);
    }
  for (Index s = 0; s < layout_.n_sectors; ++s) {
    const Offsets& sector = sectors[static_cast<std::size_t>(s)];
    state_.parameters[s] =
        sector.chances() < enough
            ? anchor_db
            : std::clamp(sector.level_db(softness, ceiling), anchor_db - 15, anchor_db + 15);
  }
}

void Fitter::start_from(const LevelFit& other) {
  if (other.gain_db.size() != layout_.n_sectors) return;
  VectorXd& p = state_.parameters;
  p.head(layout_.n_sectors) = other.gain_db;
  if (other.elevation.gain_db.size() == layout_.n_elevations)
    p.segment(layout_.elevation(), layout_.n_elevations) =
        other.elevation.gain_db.array() - other.elevation.gain_db[anchor_];
  p.head(layout_.n_sectors).array() +=
      other.elevation.gain_db.size() > 0 ? other.elevation.gain_db[anchor_] : 0;
  for (Index k = 0; k < std::min(layout_.n_covariates, other.beta.size()); ++k)
    p[layout_.covariate() + k] = other.beta[k];
  if (layout_.n_lean > 0) {
    p[layout_.lean()] = other.lean.north_deg;
    p[layout_.lean() + 1] = other.lean.east_deg;
  }
  if (is_rate_) {
    const Index shape = layout_.shape();
    if (layout_.is_free[0]) p[shape] = std::log(other.softness_db);
    if (layout_.is_free[1]) {
      p[shape + 1] = other.threshold.skew();
      p[shape + 2] = other.threshold.log_tail();
    }
    if (layout_.is_free[3]) {
      p[shape + 3] = log_odds(other.usual_ceiling);
      if (other.ceiling.size() == state_.ceiling_off.size())
        for (std::size_t h = 0; h < other.ceiling.size(); ++h)
          state_.ceiling_off[h] = log_odds(other.ceiling[h]) - p[shape + 3];
    }
  }
  state_.sigma_flight = other.sigma_flight_db;
  state_.sigma_block = other.sigma_block_db;
  if (other.flight_db.size() == state_.flight.size()) {
    state_.flight = other.flight_db;
  }
}

// What rows are looked at by.
void Fitter::take_shape() {
  const Index shape = layout_.shape();
  softness_ = std::exp(state_.parameters[shape]);
  if (options_.is_shape_free)
    threshold_ =
        options_.threshold.bent(state_.parameters[shape + 1], state_.parameters[shape + 2]);
  if (options_.random_flights && is_rate_) {
    looked_up_.resize(static_cast<std::size_t>(40 * steps_of_z) + 1);
    for (std::size_t i = 0; i < looked_up_.size(); ++i)
      looked_up_[i] = threshold_.at(static_cast<double>(i) / steps_of_z - 20);
  }
  ceiling_.resize(state_.ceiling_off.size());
  for (std::size_t h = 0; h < ceiling_.size(); ++h)
    ceiling_[h] = !options_.ceiling_by_hour
                      ? 1.0
                      : std::clamp(share_of(state_.parameters[shape + 3] + state_.ceiling_off[h]),
                                   0.02, 0.99);
}

std::size_t Fitter::part_begin(std::size_t part) const {
  std::size_t block = data_.blocks.size() * part / n_parts();
  while (block > 0 && block < data_.blocks.size() &&
         data_.blocks[block].flight == data_.blocks[block - 1].flight)
    --block;
  return block;
}

void Fitter::add(const FlightSum& one, PassSum& to) const {
  const Index n = layout_.size();
  for (std::size_t i = 0; i < one.support.size(); ++i) {
    const auto column = static_cast<Index>(i);
    const Index at = one.support[i];
    if (at < n) {
      to.score[at] += one.score[column];
      for (std::size_t j = 0; j < one.support.size(); ++j)
        if (one.support[j] < n)
          to.information(one.support[j], at) += one.information(static_cast<Index>(j), column);
      continue;
    }
    to.hour_score[at - n] += one.score[column];
    to.hour_information[at - n] += one.information(column, column);
    for (std::size_t j = 0; j < one.support.size(); ++j)
      if (one.support[j] < n)
        to.hour_cross(one.support[j], at - n) += one.information(static_cast<Index>(j), column);
  }
}

// One pass over all rows at the present estimates. Flights are looked at next where they are now.
void Fitter::pass() {
  take_shape();
  std::vector<PassSum> parts(n_parts());
  const Index n = layout_.size();
  each_beside(parts.size(), [&](std::size_t i) {
    PassSum& part = parts[i];
    Scratch scratch;
    part.score = VectorXd::Zero(n);
    part.information = MatrixXd::Zero(n, n);
    const auto n_hours = static_cast<Index>(ceiling_.size());
    part.hour_score = part.hour_information = VectorXd::Zero(n_hours);
    part.hour_cross = MatrixXd::Zero(n, has_hours() ? n_hours : 0);
    each_flight(part_begin(i), part_begin(i + 1), [&](std::size_t begin, std::size_t end) {
      const FlightSum one = integrate(begin, end, scratch, part);
      add(one, part);
      part.log_likelihood += one.log_likelihood;
      // A flight of which next to nothing is known would only slow the steps down.
      constexpr double some = 0.05;
      if (one.level_information < some) return;
      part.flight_squares += one.mean * one.mean + one.variance;
      part.n_flights += 1;
    });
  });
  sum_ = std::move(parts[0]);
  for (std::size_t i = 1; i < parts.size(); ++i) sum_ += parts[i];
}

void PassSum::operator+=(const PassSum& more) {
  score += more.score;
  information += more.information;
  hour_score += more.hour_score;
  hour_information += more.hour_information;
  hour_cross += more.hour_cross;
  log_likelihood += more.log_likelihood;
  flight_squares += more.flight_squares;
  n_flights += more.n_flights;
  block_squares += more.block_squares;
  n_blocks += more.n_blocks;
  residual += more.residual;
  n_rows += more.n_rows;
}

void Fitter::set_priors() {
  const Index n = layout_.size(), shape = layout_.shape();
  prior_ = MatrixXd::Zero(n, n);
  prior_mean_ = VectorXd::Zero(n);
  const auto hold = [&](Index at) {
    prior_(at, at) = held;
    prior_mean_[at] = state_.parameters[at];
  };
  const std::array usual{std::log(first_softness_db), 0.0, log_tail_usual, log_odds(first_ceiling)};
  const std::array spread{softness_prior, skew_prior, log_tail_prior, log_odds_prior};
  for (std::size_t i = 0; i < usual.size(); ++i) {
    const Index at = shape + static_cast<Index>(i);
    if (!layout_.is_free[i]) {
      hold(at);
    } else if (options_.priors) {
      prior_(at, at) = 1 / (spread[i] * spread[i]);
      prior_mean_[at] = usual[i];
    }
  }
  if (!options_.priors) return;
  const auto along = [&](std::initializer_list<std::pair<Index, double>> terms, double sd) {
    for (const auto& [i, a] : terms)
      for (const auto& [j, b] : terms) prior_(i, j) += a * b / (sd * sd);
  };
  for (Index s = 0; s < layout_.n_sectors; ++s) {
    along({{s, 1}}, 100);
    if (layout_.n_sectors > 2)
      along({{s, 1}, {(s + 1) % layout_.n_sectors, -1}}, options_.gain_prior_db);
  }
  const Index first = layout_.elevation();
  for (Index k = 0; k < layout_.n_elevations; ++k) {
    along({{first + k, 1}}, curve_prior_db);
    if (k > 0 && k + 1 < layout_.n_elevations)
      along({{first + k - 1, 1}, {first + k, -2}, {first + k + 1, 1}},
            bend_db / std::sqrt(state_.bend_weight[static_cast<std::size_t>(k)]));
  }
  if (layout_.n_elevations > 1) along({{first, 1}, {first + 1, -1}}, end_slope_db);
  if (layout_.n_elevations > 0) {
    prior_(first + anchor_, first + anchor_) += held;
  }
  for (Index k = 0; k < layout_.n_covariates; ++k)
    along({{layout_.covariate() + k, 1}}, options_.covariate_prior[static_cast<std::size_t>(k)]);
  // A few flights tell no lean from a bend of the curve: it is left to the last fit.
  for (Index k = 0; k < layout_.n_lean; ++k)
    along({{layout_.lean() + k, 1}}, options_.errors ? lean_prior_deg : 1e-4);
}

double Fitter::objective() const {
  const VectorXd off = state_.parameters - prior_mean_;
  return sum_.log_likelihood - 0.5 * off.dot(prior_ * off) -
         0.5 * hours().squaredNorm() / (state_.sigma_ceiling * state_.sigma_ceiling);
}

// One scoring step; returns the change made, dB. A parameter counts by what is known of it: one of
// which next to nothing is known wanders far and tells nobody.
double Fitter::step(bool holds_shape) {
  set_priors();
  MatrixXd matrix = sum_.information + prior_;
  VectorXd right = sum_.score - prior_ * (state_.parameters - prior_mean_);
  if (!holds_shape) take_out_hours(matrix, right);
  if (holds_shape)
    for (Index at = layout_.lean(); at < layout_.size(); ++at) {
      matrix.row(at).setZero();
      matrix.col(at).setZero();
      matrix(at, at) = 1;
      right[at] = 0;
    }
  VectorXd change = matrix.ldlt().solve(right);
  // The whole step is shortened, so that it goes on leading upwards.
  constexpr double longest_db = 4, longest_shape = 0.4, longest_odds = 1, longest_lean_deg = 0.7;
  constexpr double well_known = 25;
  double size = 0, longest = 1;
  for (Index i = 0; i < layout_.size() && options_.random_flights; ++i) {
    const double most = i >= layout_.shape() + 3 ? longest_odds
                        : i >= layout_.shape()   ? longest_shape
                        : i >= layout_.lean()    ? longest_lean_deg
                                                 : longest_db;
    // Of what next to nothing is known, a long step hurts nobody.
    const double known = std::min(1.0, matrix(i, i) / well_known);
    longest = std::max(longest, std::abs(change[i]) * known / most);
  }
  change /= longest;
  for (Index i = 0; i < layout_.size(); ++i) {
    const double known = options_.random_flights ? std::min(1.0, matrix(i, i) / well_known) : 1.0;
    size = std::max(size, (i >= layout_.shape() ? 2.0 : 1.0) * std::abs(change[i]) * known);
  }
  VectorXd hour_change = VectorXd::Zero(hours().size());
  if (!holds_shape && has_hours()) {
    const VectorXd score =
        sum_.hour_score - hours() / (state_.sigma_ceiling * state_.sigma_ceiling);
    hour_change = hour_weight()
                      .cwiseProduct(score - sum_.hour_cross.transpose() * change)
                      .cwiseMin(1.0)
                      .cwiseMax(-1.0);
  }
  const State before = state_;
  const double objective_before = objective();
  // The quadrature is no better than this.
  const double slack = options_.random_flights ? 0.5 : 1e-9 * std::abs(objective_before);
  double factor = 1;
  for (int halving = 0; halving < 12; ++halving, factor /= 2) {
    state_.parameters += factor * change;
    for (std::size_t h = 0; h < state_.ceiling_off.size(); ++h)
      state_.ceiling_off[h] = std::clamp(
          state_.ceiling_off[h] + factor * hour_change[static_cast<Index>(h)], -4.0, 3.0);
    pass();
    if (objective() >= objective_before - slack) return factor * size;
    state_ = before;
  }
  pass();
  return 0;
}

// 1 / information of each hour's ceiling, its prior included.
VectorXd Fitter::hour_weight() const {
  const double precision = 1 / (state_.sigma_ceiling * state_.sigma_ceiling);
  return (sum_.hour_information.array() + precision).inverse();
}

// Ceilings of hours are many, and no two share a row: they are solved for on the way.
void Fitter::take_out_hours(MatrixXd& matrix, VectorXd& right) const {
  if (!has_hours()) return;
  const VectorXd weight = hour_weight();
  const VectorXd score = sum_.hour_score - hours() / (state_.sigma_ceiling * state_.sigma_ceiling);
  matrix -= sum_.hour_cross * weight.asDiagonal() * sum_.hour_cross.transpose();
  right -= sum_.hour_cross * weight.cwiseProduct(score);
}

// Expectation-maximisation, with the posterior variance of each; blocks by moments.
double Fitter::update_variances(bool bends) {
  const double flight_before = state_.sigma_flight, block_before = state_.sigma_block;
  // Transmitters of 70 to 500 W and their antennas differ by some 2.5 dB: as if 20 flights had been
  // known to.
  constexpr double usual_flight_db = 2.5, usual_flights = 20;
  const double flight2 = (sum_.flight_squares + usual_flights * usual_flight_db * usual_flight_db) /
                         (sum_.n_flights + usual_flights);
  state_.sigma_flight = further(state_.sigma_flight, std::sqrt(flight2), 0.3, 12);
  // High gains with blocks that differ widely say the same as lower ones with blocks that do not: a
  // tenth is taken to be as usual.
  constexpr double usual_block_db = 1, usual_share = 0.01;
  const double usual = usual_share * sum_.n_blocks + 1;
  state_.sigma_block =
      further(state_.sigma_block,
              std::sqrt((sum_.block_squares + usual * usual_block_db * usual_block_db) /
                        (sum_.n_blocks + usual)),
              0.05, 6);
  if (layout_.is_free[3]) {
    const VectorXd spread = hours().cwiseAbs2() + hour_weight();
    const auto told = (sum_.hour_information.array() > 1).cast<double>();
    if (told.sum() > 0)
      state_.sigma_ceiling =
          std::clamp(std::sqrt((spread.array() * told).sum() / told.sum()), 0.03, 1.5);
  }
  if (!is_rate_)
    state_.noise = std::clamp(std::sqrt(sum_.residual / std::max(1.0, sum_.n_rows)), 0.05, 20.0);
  if (layout_.n_elevations < 3 || !bends) return 1;
  const MatrixXd matrix = sum_.information + prior_;
  const MatrixXd inverse = matrix.ldlt().solve(MatrixXd::Identity(matrix.rows(), matrix.cols()));
  for (Index k = layout_.elevation() + 1; k + 1 < layout_.elevation() + layout_.n_elevations; ++k) {
    const Eigen::Vector3d by(1, -2, 1);
    const double square = std::pow(by.dot(state_.parameters.segment<3>(k - 1)), 2) +
                          by.dot(inverse.block<3, 3>(k - 1, k - 1) * by);
    state_.bend_weight[static_cast<std::size_t>(k - layout_.elevation())] =
        (bend_freedom + 1) / (bend_freedom + square / (bend_db * bend_db));
  }
  return std::max(std::abs(state_.sigma_flight - flight_before),
                  std::abs(state_.sigma_block - block_before)) /
         2;
}

LevelFit Fitter::run() {
  LevelFit fit;
  const bool is_near = options_.start != nullptr;
  const bool is_random = options_.random_flights;
  const double tolerance = !is_random ? 1e-8 : options_.errors ? 0.01 : 0.1;
  constexpr int held_steps = 3;
  set_priors();
  pass();
  if (is_random) update_variances(false);
  for (int i = 1; i <= options_.max_iterations && !fit.converged; ++i, ++fit.iterations) {
    double change = step(is_random && !is_near && i <= held_steps);
    if (is_random) {
      change = std::max(change, update_variances(is_near || i > held_steps));
      pass();
    }
    fit.converged = change < tolerance && i > (is_near ? 2 : held_steps + 1);
  }
  finish(fit);
  return fit;
}

}  // namespace levels

LevelFit fit_levels(const LevelData& data, const LevelOptions& options) {
  if (data.rows.empty() || data.n_sectors == 0) return {};
  assert(data.n_covariates <= max_covariates);
  return levels::Fitter(data, options).run();
}

}  // namespace roundel::pattern
