// The fit behind fit_levels(): shared by its files and nobody else.
//   level_model.cpp   where it starts, and the order of things
//   level_rows.cpp    passes over rows: what each block says
//   level_nodes.cpp   rates: blocks' and flights' levels integrated out
//   level_lanes.cpp   the same, eight nodes at a time
//   level_slopes.cpp  how gains change within their sectors
//   level_climb.cpp   normal equations, scoring steps, ceilings and variances
//   level_errors.cpp  what is known how well, by flight
#pragma once
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "analysis/pattern/beside.h"
#include "analysis/pattern/level_lanes.h"
#include "roundel/pattern/level_model.h"

namespace roundel::pattern::levels {

using Eigen::MatrixXd;
using Eigen::VectorXd;

// The softness is estimated as one more covariate, last in beta's working vector; behind it stands
// the bearing within the sector, whose coefficient is the sector's own. Sums by covariate stand in
// plain arrays, of which the first k, or k (k + 1) / 2, count: there are as many of them as blocks,
// and vectors of varying size cost more than what is summed.
constexpr std::size_t max_k = max_covariates + 2;
using PerCovariate = std::array<double, max_k>;
constexpr std::size_t max_pairs = max_k * (max_k + 1) / 2;
using PerPair = std::array<double, max_pairs>;  // upper triangle, by rows of k

// How levels are taken: flights' and blocks' at their modes; blocks' by quadrature over five nodes;
// flights' by five nodes as well, and blocks' within each.
enum class Rule { mode, blocks, flights };

// What the rows of one block say, its own level integrated out: posterior means over that level.
struct BlockSum {
  double information{};        // of the block's level
  double information_slope{};  // by that level, per decibel
  double score{};
  double log_marginal{};        // log of the integral over the block's level
  double mean{}, variance{};    // of that level, the flight's known
  double variance_by_flight{};  // what it moves with the flight's, where that is integrated out
  PerCovariate covariate_score{};
  // There are many, and they are looked at many times a pass: in single precision half the memory.
  std::array<float, max_k> cross{};       // information x covariates
  std::array<float, max_pairs> square{};  // information x covariates x covariates
};

struct RowSlope;

// What is left of a block once its own level has been eliminated.
struct Reduced {
  double information{}, score{};
  double information_slope{};  // by the flight's level
  PerCovariate cross{};
  void operator+=(const Reduced& other) {
    information += other.information;
    score += other.score;
    information_slope += other.information_slope;
    for (std::size_t i = 0; i < cross.size(); ++i) cross[i] += other.cross[i];
  }
};

// The same for the covariates' own part.
struct ReducedCovariates {
  PerCovariate score{};
  PerPair square{};
  void operator+=(const ReducedCovariates& other) {
    for (std::size_t i = 0; i < score.size(); ++i) score[i] += other.score[i];
    for (std::size_t i = 0; i < square.size(); ++i) square[i] += other.square[i];
  }
};

// Normal equations of some of the flights.
struct Equations {
  MatrixXd matrix;  // the lower triangle
  VectorXd right;
  ReducedCovariates own;
  double estimated_levels{};
  // Of the flight being eliminated.
  std::vector<Reduced> reduced;
  std::vector<Eigen::Index> at;
  std::vector<double> follows;
};

// What a pass adds up over some of the blocks.
struct PassSum {
  std::vector<double> hour_score, hour_information;
  double log_likelihood{}, residual{};
  // Of the flight being integrated: by row and group of lanes, and by block.
  std::vector<RowAsked> asked;
  std::vector<RowLanes> of_row;
  std::vector<BlockLanes> of_block;
  Equations equations;
};

// How far levels are from nought, squared and added up: those that tell of their spread.
struct Spread {
  double sum{}, n{};
  void operator+=(const Spread& other) {
    sum += other.sum;
    n += other.n;
  }
};
struct LevelSpreads {
  Spread block, flight;
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
  Fitter(const LevelData& data, const LevelOptions& options);

  LevelFit run();

 private:
  // level_model.cpp
  void start_strength();
  void start_from(const LevelFit& other);
  void start_ceiling();
  void weigh_rows();

  // level_rows.cpp
  RowSlope slope(const LevelRow& row, double level_db) const;
  double level_of(const LevelBlock& block, const LevelRow& row) const;
  void pass();
  RowSlope add_row(BlockSum& sum, const LevelRow& row, double level_db) const;
  void add_covariates(BlockSum& sum, const LevelRow& row, double score, double information,
                      double score_z, double information_z, double information_zz) const;
  void pass_over(std::size_t begin, std::size_t end, PassSum& all);
  void take_mode(std::size_t b, PassSum& all);
  void evaluate(std::size_t b, PassSum& all);
  void add_ceiling(const LevelRow& row, double share, PassSum& all) const;

  // level_nodes.cpp
  struct FlightNodes {
    std::size_t n = 1;
    std::array<double, 5> shift{}, log_weight{};
    const NodePattern *few{}, *many{};  // for blocks well known, and for others
    LaneGroups few_shifts{}, many_shifts{};
  };
  FlightNodes flight_nodes(std::uint32_t flight) const;
  void integrate(std::uint32_t flight, std::size_t begin, std::size_t end, PassSum& all);
  void look_at(std::size_t b, const FlightNodes& nodes, std::vector<RowAsked>& asked,
               BlockLanes& at, RowLanes* of_row) const;
  static void take_weights(const FlightNodes& nodes, const std::array<double, 5>& weight,
                           BlockLanes& at, BlockSum& sum);
  void take_rows(const LevelBlock& block, const FlightNodes& nodes, const BlockLanes& at,
                 const RowLanes* of_row, BlockSum& sum, PassSum& all) const;
  double weigh(std::uint32_t flight, const FlightNodes& nodes, std::array<double, 5>& weight);
  void start_flights();
  void recentre();

  double block_precision() const {
    return sigma_block_ > 0 ? 1 / (sigma_block_ * sigma_block_) : 0;
  }
  double flight_precision() const {
    return sigma_flight_ > 0 ? 1 / (sigma_flight_ * sigma_flight_) : 0;
  }

  // A flight's own level, before its blocks are added: its prior.
  Reduced prior_of(std::uint32_t flight) const {
    return {flight_precision(), -flight_precision() * state_.flight[flight], 0, {}};
  }
  Reduced reduce(std::size_t b) const {
    const BlockSum& sum = sums_[b];
    Reduced out;
    std::copy(sum.cross.begin(), sum.cross.end(), out.cross.begin());
    out.information = sum.information;
    out.score = sum.score;
    if (!options_.random_flights) return out;
    const double kept = block_precision() / (sum.information + block_precision());
    // Off its posterior mean a block's level takes part of the score; on it, none.
    const double left = (1 - kept) * (sum.score - block_precision() * sum.mean);
    // The block's own level takes back part of what the flight's moves.
    out.information_slope = sum.information_slope * kept * kept * kept;
    out.information *= kept;
    out.score -= left;
    for (std::size_t i = 0; i < k_rows_; ++i) out.cross[i] *= kept;
    return out;
  }
  // Until a flight's level is integrated it is at its mode. The integral is, by Laplace, the
  // likelihood there over the root of the level's information (Breslow and Clayton 1993, J. Am.
  // Stat. Assoc. 88:9; from memory): -log(information) / 2 has a slope of its own by gains, which
  // is taken, and by covariates, which is left out. Where all is heard, information falls as the
  // level rises: without this term strong sectors come out too weak, by a tenth and more where a
  // flight is in few sectors. Returns half the slope of log(information), the level's mode
  // following, for something that moves the level of rows with `information` and `slope` among its
  // own.
  static double laplace(double information, double slope, const Reduced& all) {
    return (slope - all.information_slope * information / all.information) / (2 * all.information);
  }
  ReducedCovariates reduce_covariates(std::size_t b) const {
    const BlockSum& sum = sums_[b];
    const double per_all =
        options_.random_flights ? 1 / (sum.information + block_precision()) : 0.0;
    const double left = (sum.score - block_precision() * sum.mean) * per_all;
    ReducedCovariates out;
    std::size_t pair = 0;
    for (std::size_t i = 0; i < k_rows_; ++i) {
      out.score[i] = sum.covariate_score[i] - sum.cross[i] * left;
      for (std::size_t j = i; j < k_rows_; ++j, ++pair)
        out.square[pair] = sum.square[pair] - sum.cross[i] * sum.cross[j] * per_all;
    }
    return out;
  }
  template <class Values>
  double dot(const Values& values, const VectorXd& solved) const {
    double out = 0;
    for (std::size_t i = 0; i < k_; ++i)
      out += values[i] * solved[n_sectors_ + static_cast<Eigen::Index>(i)];
    return out;
  }

  // Many rows go in parts, which are as many on every machine.
  std::size_t n_parts() const {
    constexpr std::size_t many_rows = 4000, parts_of_many = 8;
    return data_.rows.size() < many_rows ? 1 : parts_of_many;
  }
  std::size_t part_begin(std::size_t part) const {
    return flight_begin(data_.blocks.size() * part / n_parts());
  }
  // Where the flight of a block begins, or would.
  std::size_t flight_begin(std::size_t block) const {
    while (block > 0 && block < data_.blocks.size() &&
           data_.blocks[block].flight == data_.blocks[block - 1].flight)
      --block;
    return block;
  }
  // Visits each flight's range of blocks.
  template <class Visit>
  void each_flight(std::size_t begin, std::size_t last, const Visit& visit) const {
    while (begin < last) {
      std::size_t end = begin + 1;
      while (end < last && data_.blocks[end].flight == data_.blocks[begin].flight) ++end;
      visit(data_.blocks[begin].flight, begin, end);
      begin = end;
    }
  }
  template <class Visit>
  void each_flight(const Visit& visit) const {
    each_flight(0, data_.blocks.size(), visit);
  }
  // The same in parts, beside each other: visit(part, flight, begin, end).
  template <class Visit>
  void each_flight_beside(const Visit& visit) const {
    each_beside(n_parts(), [&](std::size_t part) {
      each_flight(part_begin(part), part_begin(part + 1),
                  [&](std::uint32_t flight, std::size_t begin, std::size_t end) {
                    visit(part, flight, begin, end);
                  });
    });
  }

  // level_slopes.cpp
  void find_slopes();
  void fold();
  VectorXd slopes_of(const VectorXd& gain) const;

  // level_climb.cpp
  void eliminate();
  void eliminate(std::uint32_t flight, std::size_t begin, std::size_t end, Equations& to) const;
  void add_slope(Eigen::Index sector, const Reduced& block, const ReducedCovariates& own,
                 Equations& to) const;
  void add_priors();
  bool climb(LevelFit& fit, int most);
  void settle_levels();
  double update(double share, bool& is_sure);
  double size_of(const State& step) const;
  bool is_wandering(Eigen::Index sector) const {
    constexpr double known = 1;  // information, per square decibel
    return matrix_(sector, sector) <= known;
  }
  double longest_step() const { return 4 * std::max(1.0, state_.softness); }
  State full_step() const;
  State level_step(const VectorXd& solved) const;
  double objective() const;
  double update_ceiling();
  void update_variances();
  void add_spread(std::uint32_t flight, std::size_t begin, std::size_t end, LevelSpreads& to) const;

  // level_errors.cpp
  void finish(LevelFit& fit);
  void robust(LevelFit& fit, const MatrixXd& inverse);
  VectorXd influence_of(std::uint32_t flight, std::size_t begin, std::size_t end,
                        const MatrixXd& unfolded, MatrixXd& information) const;
  MatrixXd unfold(const MatrixXd& inverse) const;
  double bearing_off_deg(const LevelBlock& block) const;
  void own_equations(std::uint32_t flight, std::size_t begin, std::size_t end, MatrixXd& own,
                     VectorXd& score) const;

  const LevelData& data_;
  const LevelOptions& options_;
  const bool is_rate_, fits_softness_;
  bool holds_softness_ = false;
  const int n_sectors_, n_beta_;
  const std::size_t k_;  // covariates, the softness with them
  // How a gain changes within its sector, by those of its neighbours; none: it does not.
  struct Neighbour {
    std::uint16_t sector{}, other{};
    double per_deg{};  // of other's gain in the sector's slope
  };
  std::vector<Neighbour> neighbours_;
  VectorXd slope_;           // by sector, per degree
  std::size_t k_rows_ = k_;  // with the bearing within the sector, once there are slopes
  State state_;
  std::vector<double> ceiling_, hour_score_, hour_information_;
  double sigma_flight_{}, sigma_block_{}, noise_ = 1, centre_ = 0, residual_ = 0;
  double log_likelihood_{}, estimated_levels_{};
  Eigen::Index first_beta() const { return has_slopes() ? 2 * n_sectors_ : n_sectors_; }
  bool has_slopes() const { return k_rows_ > k_; }

  std::vector<BlockSum> sums_;
  std::vector<double> width_, weight_;
  std::vector<double> flight_mean_, flight_variance_, flight_width_;
  std::vector<PassSum> parts_;
  Rule rule_ = Rule::mode;
  bool is_asked_likelihood_ = true;  // at the modes: its logarithms are half of a pass
  double half_log_precision_ = 0;
  MatrixXd matrix_;
  VectorXd right_;
};

}  // namespace roundel::pattern::levels
