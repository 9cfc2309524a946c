#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <cmath>
#include <span>

#include "analysis/pattern/level_flight.h"

namespace roundel::pattern::levels {
namespace {

// Bearing and elevation at once: what a reflection, an edge or a wrong curve would be seen in.
constexpr double cell_deg = 1;
constexpr int n_elevation_cells = 12;
// A cell known to this is as good as any: the others' share in the misfit is their errors'.
constexpr double cell_known_db = 0.3;

// Scores of one sector's rows at one elevation, over all flights.
struct Cell {
  double score = 0, information = 0;
  double score_variance = 0;  // sum of the squares of flights' scores
  VectorXd terms;             // information x what the level is made of
};

// Solves (1 - own part) x = score: what a flight's score would be had it had no part in the
// estimate.
VectorXd without_itself(const MatrixXd& own, const MatrixXd& part, const VectorXd& score) {
  const MatrixXd leave = MatrixXd::Identity(own.rows(), own.cols()) - own * part;
  return leave.partialPivLu().solve(score);
}

}  // namespace

// The level that bearings and elevations are off by beyond what flights scatter, and the variance
// that this gives the scores of all parameters.
class Misfit {
 public:
  Misfit(Index n_sectors, Index n_parameters)
      : cells_(static_cast<std::size_t>(n_sectors) * n_elevation_cells) {
    for (Cell& cell : cells_) cell.terms = VectorXd::Zero(n_parameters);
  }
  // One block of a flight: what a level that is off at one elevation would do to all scores,
  // blocks' and flights' own levels following it.
  void add(const FlightSum& flight, std::size_t block, std::uint16_t sector, const auto& rows,
           const auto& elevation_of, const auto& local) {
    struct Part {
      double score = 0, information = 0;
    };
    std::array<Part, n_elevation_cells> parts{};
    std::array<VectorXd, n_elevation_cells> terms;
    for (const auto& row : rows) {
      const int e =
          std::clamp(static_cast<int>(elevation_of(row) / cell_deg), 0, n_elevation_cells - 1);
      const auto at = static_cast<std::size_t>(e);
      parts[at].score += row.score;
      parts[at].information += row.information;
      if (terms[at].size() == 0) terms[at] = VectorXd::Zero(flight.score.size());
      for (std::size_t i = 0; i < row.design.n; ++i)
        terms[at][local(row.design.terms[i].at)] += row.information * row.design.terms[i].by;
    }
    const auto column = static_cast<Index>(block);
    const double hidden = flight.hidden[block];
    double information = 0;
    for (const Part& part : parts) information += part.information;
    const double kept = 1 - information * hidden;
    for (std::size_t e = 0; e < parts.size(); ++e) {
      const double own = parts[e].information;
      if (own <= 0) continue;
      terms[e] -= own * hidden * flight.of_block.col(column) +
                  own * kept * flight.variance_of_level * flight.of_all;
      Cell& cell = cells_[sector * std::size_t{n_elevation_cells} + e];
      cell.score += parts[e].score;
      cell.score_variance += parts[e].score * parts[e].score;
      cell.information += own - own * own * (hidden + kept * kept * flight.variance_of_level);
      for (std::size_t i = 0; i < flight.support.size(); ++i)
        if (flight.support[i] < cell.terms.size())
          cell.terms[flight.support[i]] += terms[e][static_cast<Index>(i)];
    }
  }
  void operator+=(const Misfit& more) {
    for (std::size_t i = 0; i < cells_.size(); ++i) {
      cells_[i].score += more.cells_[i].score;
      cells_[i].information += more.cells_[i].information;
      cells_[i].score_variance += more.cells_[i].score_variance;
      cells_[i].terms += more.cells_[i].terms;
    }
  }
  // By moments, as DerSimonian and Laird do between studies (1986, Controlled Clin. Trials 7:177;
  // from memory).
  void take(LevelFit& fit, MatrixXd& information) const {
    double sum = 0, weights = 0, spread = 0;
    for (const Cell& cell : cells_) {
      if (cell.information < 1) continue;
      const double off = cell.score / cell.information;
      const double variance = cell.score_variance / (cell.information * cell.information);
      const double total = variance + cell_known_db * cell_known_db, weight = 1 / (total * total);
      sum += weight * (off * off - variance);
      spread += 2 * std::pow(weight * variance, 2);
      weights += weight;
    }
    information = MatrixXd::Zero(cells_[0].terms.size(), cells_[0].terms.size());
    if (weights <= 0) return;
    fit.misfit_z = spread > 0 ? sum / std::sqrt(spread) : 0;
    const double variance = std::max(0.0, sum / weights);
    fit.misfit_db = std::sqrt(variance);
    for (const Cell& cell : cells_)
      if (cell.information >= 1)
        information.noalias() += variance * cell.terms * cell.terms.transpose();
  }

 private:
  std::vector<Cell> cells_;
};

void Fitter::finish(LevelFit& fit) {
  const VectorXd& p = state_.parameters;
  const Index shape = layout_.shape();
  fit.gain_db = p.head(layout_.n_sectors);
  fit.elevation.gain_db = p.segment(layout_.elevation(), layout_.n_elevations);
  fit.beta = p.segment(layout_.covariate(), layout_.n_covariates);
  if (layout_.n_lean > 0) {
    fit.lean.north_deg = p[layout_.lean()];
    fit.lean.east_deg = p[layout_.lean() + 1];
  }
  fit.softness_db = softness_;
  fit.threshold = threshold_;
  fit.ceiling = ceiling_;
  if (options_.ceiling_by_hour) fit.usual_ceiling = 1 / (1 + std::exp(-p[shape + 3]));
  fit.flight_db = state_.flight;
  fit.sigma_flight_db = state_.sigma_flight;
  fit.sigma_block_db = state_.sigma_block;
  fit.noise_db = state_.noise;
  fit.log_likelihood = sum_.log_likelihood;
  if (options_.errors) robust(fit);
}

// Sandwich: each flight's score, inflated by its own leverage; added up by airframe.
void Fitter::robust(LevelFit& fit) {
  set_priors();
  const Index n = layout_.size(), n_sectors = layout_.n_sectors;
  MatrixXd matrix = sum_.information + prior_;
  VectorXd unused = sum_.score;
  take_out_hours(matrix, unused);
  const MatrixXd inverse = matrix.ldlt().solve(MatrixXd::Identity(n, n));
  MatrixXd hour_influence;
  if (has_hours()) hour_influence = inverse * sum_.hour_cross * hour_weight().asDiagonal();
  MatrixXd influence = MatrixXd::Zero(data_.n_flights, n);
  MatrixXd information = MatrixXd::Zero(data_.n_flights, layout_.shape());
  std::vector<Misfit> misfits(n_parts(), Misfit(n_sectors, n));
  each_beside(n_parts(), [&](std::size_t part) {
    Scratch scratch;
    PassSum ignored;
    each_flight(part_begin(part), part_begin(part + 1), [&](std::size_t begin, std::size_t end) {
      const FlightSum one = integrate(begin, end, scratch, ignored);
      const std::uint32_t flight = data_.blocks[begin].flight;
      std::vector<Index> own;  // of the support, but for hours
      for (std::size_t i = 0; i < one.support.size(); ++i)
        if (one.support[i] < n) own.push_back(static_cast<Index>(i));
      std::vector<Index> at(own.size());
      std::transform(own.begin(), own.end(), at.begin(),
                     [&](Index i) { return one.support[static_cast<std::size_t>(i)]; });
      VectorXd score = one.score(own);
      if (options_.leverage)
        score = without_itself(one.information(own, own), inverse(at, at), score);
      influence.row(flight) = (inverse(Eigen::all, at) * score).transpose();
      // What it moves its hours' ceilings by moves all that hangs on them.
      for (std::size_t i = 0; i < one.support.size(); ++i)
        if (one.support[i] >= n)
          influence.row(flight) -=
              one.score[static_cast<Index>(i)] * hour_influence.col(one.support[i] - n).transpose();
      for (std::size_t i = 0; i < one.support.size(); ++i)
        if (one.support[i] < layout_.shape()) {
          const auto i_own = static_cast<Index>(i);
          information(flight, one.support[i]) = std::max(0.0, one.information(i_own, i_own));
        }
      for (std::size_t b = begin; b < end && options_.random_flights; ++b)
        misfits[part].add(
            one, b - begin, data_.blocks[b].sector,
            std::span(scratch.rows())
                .subspan(data_.blocks[b].first_row - data_.blocks[begin].first_row,
                         data_.blocks[b].n_rows),
            [&](const Scratch::Row& row) { return data_.rows[scratch.number(row)].elevation_deg; },
            [&](Index parameter) { return scratch.local(parameter); });
    });
  });
  for (std::size_t i = 1; i < misfits.size(); ++i) misfits[0] += misfits[i];
  MatrixXd open = MatrixXd::Zero(n, n);
  if (options_.random_flights) misfits[0].take(fit, open);
  if (options_.priors) open += prior_;
  open = inverse * open * inverse;

  fit.sector_flights.assign(static_cast<std::size_t>(n_sectors), 0);
  constexpr double some = 0.02;
  for (Index s = 0; s < n_sectors; ++s)
    fit.sector_flights[static_cast<std::size_t>(s)] =
        static_cast<int>((information.col(s).array() > some).count());
  for (Index k = 0; k < layout_.n_elevations; ++k)
    fit.elevation.flights.push_back(
        static_cast<int>((information.col(layout_.elevation() + k).array() > some).count()));
  for (Index flight = 0; flight < data_.n_flights && !data_.airframe.empty(); ++flight) {
    const Index first = data_.airframe[static_cast<std::size_t>(flight)];
    if (first == flight) continue;
    for (MatrixXd* of : {&influence, &information}) {
      of->row(first) += of->row(flight);
      of->row(flight).setZero();
    }
  }
  const MatrixXd covariance = influence.transpose() * influence + open;
  // Gains, the softness held: what is left when its part in their errors is taken out.
  MatrixXd held = MatrixXd::Zero(n_sectors, n);
  held.leftCols(n_sectors).setIdentity();
  fit.scale_shift_db = VectorXd::Zero(n_sectors);
  const Index softness = layout_.shape();
  if (layout_.is_free[0] && options_.random_flights && covariance(softness, softness) > 0) {
    const VectorXd by_softness =
        covariance.col(softness).head(n_sectors) / covariance(softness, softness);
    held.col(softness) = -by_softness;
    fit.scale_shift_db = by_softness * std::sqrt(covariance(softness, softness));
  }
  fit.influence = influence * held.transpose();
  fit.open_covariance = held * open * held.transpose();
  fit.covariance = held * covariance * held.transpose();
  fit.model_covariance = held * inverse * held.transpose();
  const auto of = [&](Index at, Index size) { return covariance.block(at, at, size, size); };
  fit.elevation.covariance = of(layout_.elevation(), layout_.n_elevations);
  fit.beta_covariance = of(layout_.covariate(), layout_.n_covariates);
  if (layout_.n_lean > 0) fit.lean.covariance = of(layout_.lean(), 2);
  if (layout_.is_free[0])
    fit.softness_se_db =
        softness_ * std::sqrt(std::max(0.0, covariance(layout_.shape(), layout_.shape())));
  fit.sector_effective.assign(static_cast<std::size_t>(n_sectors), 0.0);
  for (Index s = 0; s < n_sectors; ++s) {
    const double total = information.col(s).sum(), squares = information.col(s).squaredNorm();
    if (squares > 0) fit.sector_effective[static_cast<std::size_t>(s)] = total * total / squares;
  }
}

}  // namespace roundel::pattern::levels
