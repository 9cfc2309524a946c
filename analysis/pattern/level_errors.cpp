#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <cmath>

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
      : cells_(static_cast<std::size_t>(n_sectors) * n_elevation_cells), of_flight_(cells_.size()) {
    for (Cell& cell : cells_) cell.terms = VectorXd::Zero(n_parameters);
  }
  void add(std::uint16_t sector, double elevation_deg, const Design& design, double score,
           double information) {
    const int elevation = std::clamp(static_cast<int>(elevation_deg / cell_deg), 0, n_elevation_cells - 1);
    const std::size_t at = sector * std::size_t{n_elevation_cells} + static_cast<std::size_t>(elevation);
    Cell& cell = cells_[at];
    cell.score += score;
    cell.information += information;
    for (std::size_t i = 0; i < design.n; ++i)
      cell.terms[design.terms[i].at] += information * design.terms[i].by;
    if (of_flight_[at] == 0) seen_.push_back(at);
    of_flight_[at] += score;
  }
  void end_flight() {
    for (const std::size_t at : seen_) {
      cells_[at].score_variance += of_flight_[at] * of_flight_[at];
      of_flight_[at] = 0;
    }
    seen_.clear();
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
      if (cell.information >= 1) information.noalias() += variance * cell.terms * cell.terms.transpose();
  }

 private:
  std::vector<Cell> cells_;
  std::vector<double> of_flight_;
  std::vector<std::size_t> seen_;
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
  if (getenv("RD")) {
    fmt::print(stderr,"\n   {} it {} conv {} w {:.2f}±{:.2f} skew {:.2f} ltail {:.2f} c {:.3f} sf {:.2f} sb {:.2f} sh {:.2f} misfit {:.2f} z {:.1f} lean {:.2f} {:.2f} ± {:.2f} n {} rows {} beta", is_rate_?"rate":"strength", fit.iterations, fit.converged, fit.softness_db, fit.softness_se_db, threshold_.skew(), threshold_.log_tail(), fit.usual_ceiling, fit.sigma_flight_db, fit.sigma_block_db, state_.sigma_ceiling, fit.misfit_db, fit.misfit_z, fit.lean.north_deg, fit.lean.east_deg, std::sqrt(fit.lean.covariance(0,0)), data_.n_flights, data_.rows.size());
    for (Index k=0;k<fit.beta.size();++k) fmt::print(stderr," {:.2f}",fit.beta[k]);
    fmt::print(stderr,"\n   E");
    for (Index k=0;k<fit.elevation.gain_db.size();++k) fmt::print(stderr," {:.1f}:{:.1f}",ElevationCurve::knot_deg((int)k),fit.elevation.gain_db[k]);
    fmt::print(stderr,"\n");
  }
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
  if (layout_.is_free[3] && options_.random_flights)
    hour_influence = inverse * sum_.hour_cross * hour_weight().asDiagonal();
  MatrixXd influence = MatrixXd::Zero(data_.n_flights, n);
  MatrixXd information = MatrixXd::Zero(data_.n_flights, layout_.shape());
  std::vector<Misfit> misfits(n_parts(), Misfit(n_sectors, n));
  each_beside(n_parts(), [&](std::size_t part) {
    Scratch scratch;
    PassSum ignored;
    each_flight(part_begin(part), part_begin(part + 1), [&](std::size_t begin, std::size_t end) {
      const FlightSum one = integrate(begin, end, scratch, ignored);
      const std::uint32_t flight = data_.blocks[begin].flight;
      const VectorXd score =
          options_.leverage
              ? without_itself(one.information, inverse(one.support, one.support), one.score)
              : one.score;
      influence.row(flight) = (inverse(Eigen::all, one.support) * score).transpose();
      // What it moves its hours' ceilings by moves all that hangs on them.
      for (const Scratch::Row& of : scratch.rows())
        if (hour_influence.size() > 0)
          influence.row(flight) -=
              of.ceiling_score * hour_influence.col(data_.rows[scratch.number(of)].hour).transpose();
      for (std::size_t i = 0; i < one.support.size(); ++i)
        if (one.support[i] < layout_.shape()) {
          const auto at = static_cast<Index>(i);
          information(flight, one.support[i]) = std::max(0.0, one.information(at, at));
        }
      auto row = scratch.rows().begin();
      for (std::size_t b = begin; b < end; ++b)
        for (std::uint32_t r = 0; r < data_.blocks[b].n_rows; ++r, ++row)
          misfits[part].add(data_.blocks[b].sector, data_.rows[data_.blocks[b].first_row + r].elevation_deg,
                            row->design, row->score, row->information);
      misfits[part].end_flight();
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
    fit.sector_flights[static_cast<std::size_t>(s)] = static_cast<int>((information.col(s).array() > some).count());
  for (Index k = 0; k < layout_.n_elevations; ++k)
    fit.elevation.flights.push_back(static_cast<int>((information.col(layout_.elevation() + k).array() > some).count()));
  for (Index flight = 0; flight < data_.n_flights && !data_.airframe.empty(); ++flight) {
    const Index first = data_.airframe[static_cast<std::size_t>(flight)];
    if (first == flight) continue;
    for (MatrixXd* of : {&influence, &information}) {
      of->row(first) += of->row(flight);
      of->row(flight).setZero();
    }
  }
  const MatrixXd covariance = influence.transpose() * influence + open;
  fit.influence = influence.leftCols(n_sectors);
  fit.open_covariance = open.topLeftCorner(n_sectors, n_sectors);
  fit.covariance = covariance.topLeftCorner(n_sectors, n_sectors);
  fit.model_covariance = inverse.topLeftCorner(n_sectors, n_sectors);
  const auto of = [&](Index at, Index size) { return covariance.block(at, at, size, size); };
  fit.elevation.covariance = of(layout_.elevation(), layout_.n_elevations);
  fit.beta_covariance = of(layout_.covariate(), layout_.n_covariates);
  if (layout_.n_lean > 0) fit.lean.covariance = of(layout_.lean(), 2);
  if (layout_.is_free[0])
    fit.softness_se_db = softness_ * std::sqrt(std::max(0.0, covariance(layout_.shape(), layout_.shape())));
  fit.sector_effective.assign(static_cast<std::size_t>(n_sectors), 0.0);
  for (Index s = 0; s < n_sectors; ++s) {
    const double total = information.col(s).sum(), squares = information.col(s).squaredNorm();
    if (squares > 0) fit.sector_effective[static_cast<std::size_t>(s)] = total * total / squares;
  }
}

}  // namespace roundel::pattern::levels
