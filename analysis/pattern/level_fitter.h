// The fit behind fit_levels(): shared by its files and nobody else.
//   level_design.cpp  which parameters there are, and what each adds to a row's level
//   level_flight.cpp  one flight, its own level integrated out
//   level_fit.cpp     where the fit starts, its steps, ceilings and variances
//   level_errors.cpp  what is known how well, by flight
#pragma once
#include <Eigen/Core>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

#include "analysis/pattern/beside.h"
#include "roundel/pattern/level_model.h"

namespace roundel::pattern::levels {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Where each parameter stands in the vector of all. Those of the threshold (log of the softness,
/// skew, log of the tail, log odds of the ceiling) act on a row's chance, the others on its level.
class Layout {
 public:
  Layout(const LevelData& data, const LevelOptions& options);

  static constexpr Index n_shape = 4;
  Index n_sectors, n_elevations, n_covariates, n_lean;
  std::array<bool, n_shape> is_free{};  ///< of the threshold's parameters

  Index elevation() const { return n_sectors; }
  Index covariate() const { return elevation() + n_elevations; }
  Index lean() const { return covariate() + n_covariates; }
  Index shape() const { return lean() + n_lean; }
  Index size() const { return shape() + n_shape; }
};

/// The threshold is looked up at steps of z, and straight between: within 1e-5.
constexpr double steps_of_z = 64;

/// What a row's level is made of: its terms by the parameters.
struct Design {
  struct Term {
    Index at;
    double by;
  };
  static constexpr std::size_t most = 2 + 2 + max_covariates + 2;
  std::array<Term, most> terms;
  std::size_t n = 0;
  double level_db = 0;  ///< without the flight's own
  void add(Index at, double by) { terms[n++] = {at, by}; }
};

/// All that is estimated.
struct State {
  VectorXd parameters;
  std::vector<double> ceiling_off;    ///< by hour: log odds less the usual
  std::vector<double> flight, block;  ///< own levels, at their modes
  std::vector<double> bend_weight;    ///< by knot: precision of the curve's bend there
  double sigma_flight{}, sigma_block{}, sigma_ceiling{}, noise = 1;
};

/// What one flight says, its own level integrated out.
struct FlightSum {
  std::vector<Index> support;  ///< parameters that it has a part in
  VectorXd score;              ///< by support
  MatrixXd information;        ///< by support
  double log_likelihood{}, mean{}, variance{};
  double level_information{};  ///< of its level
  MatrixXd of_block;           ///< [support x blocks]: information on each block's level, crossed
  VectorXd of_all;             ///< the same of its own level, blocks' levels taken out
  std::vector<double> hidden;  ///< variance of each block's level, the flight's known
  double variance_of_level{};
};

/// Sums over some of the flights.
struct PassSum {
  VectorXd score;
  MatrixXd information;
  VectorXd hour_score, hour_information;  ///< of the log odds of each hour's ceiling
  MatrixXd hour_cross;                    ///< with all parameters
  double log_likelihood = 0;
  double flight_squares = 0, n_flights = 0;  ///< for sigma_flight
  double block_squares = 0, n_blocks = 0;    ///< for sigma_block
  double residual = 0, n_rows = 0;           ///< for noise
  void operator+=(const PassSum& more);
};

class Fitter {
 public:
  Fitter(const LevelData& data, const LevelOptions& options);
  LevelFit run();

 private:
  // level_design.cpp
  Design design_of(const LevelBlock& block, const LevelRow& row) const;
  double slope_of_curve(double elevation_deg) const;

  // level_flight.cpp
  struct Chance;
  struct Scratch;
  Threshold::At threshold_at(double z) const;
  Chance chance_of(const LevelRow& row, double level_db, bool asks_likelihood) const;
  double find_mode(std::size_t begin, std::size_t end, Scratch& scratch);
  FlightSum integrate(std::size_t begin, std::size_t end, Scratch& scratch, PassSum& all);
  template <class Row>
  double take_row(Row& row, const auto& block, const std::array<double, 5>& share,
                  std::size_t n_nodes, const Scratch& scratch, FlightSum& out, auto& of_block,
                  PassSum& all) const;
  void take_block(const auto& block, const auto& of_flight, const std::array<double, 5>& share,
                  PassSum& all) const;

  // level_fit.cpp
  void start_strength();
  double ceiling_of_the_strong() const;
  void start_rate();
  void start_from(const LevelFit& other);
  void add(const FlightSum& one, PassSum& to) const;
  void pass();
  double objective() const;
  void set_priors();
  double step(bool holds_shape);
  void take_out_hours(MatrixXd& matrix, VectorXd& right) const;
  VectorXd hour_weight() const;
  double update_variances(bool bends);

  // level_errors.cpp
  void finish(LevelFit& fit);
  void robust(LevelFit& fit);

  void take_shape();
  // Ceilings of hours are parameters too, behind all others.
  bool has_hours() const { return layout_.is_free[3] && options_.random_flights; }
  Index hour_parameter(std::uint16_t hour) const { return layout_.size() + hour; }
  Eigen::Map<const VectorXd> hours() const {
    return {state_.ceiling_off.data(), static_cast<Index>(state_.ceiling_off.size())};
  }

  template <class Visit>
  void each_flight(std::size_t begin, std::size_t last, const Visit& visit) const {
    while (begin < last) {
      std::size_t end = begin + 1;
      while (end < last && data_.blocks[end].flight == data_.blocks[begin].flight) ++end;
      visit(begin, end);
      begin = end;
    }
  }
  // Many rows go in parts, which are as many on every machine, so that sums are the same.
  std::size_t n_parts() const { return data_.rows.size() < 4000 ? 1 : 8; }
  std::size_t part_begin(std::size_t part) const;

  const LevelData& data_;
  const LevelOptions& options_;
  const bool is_rate_;
  const Layout layout_;
  State state_;
  double width_deg_;  ///< of a sector
  double softness_{}, centre_ = 0;
  Threshold threshold_;
  std::vector<Threshold::At> looked_up_;  ///< the threshold at steps of z; empty: worked out
  std::vector<double> ceiling_;
  MatrixXd prior_;  ///< precision
  VectorXd prior_mean_;
  Index anchor_ = 0;  ///< the knot at which the curve is 0
  PassSum sum_;
};

}  // namespace roundel::pattern::levels
