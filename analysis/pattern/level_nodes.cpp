#include <numbers>

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

// A level known to this, in dB, is nearly normal: three nodes do.
constexpr double well_known_db = 0.7;

constexpr double narrowest_db = 0.03, widest_block_db = 6, widest_flight_db = 12;

}  // namespace

// slope() of all rows of a block at all nodes at once, into `of_row`; returns their log likelihood.
// This is where the time goes: 242 000 rows took 265 ms node by node.
Lanes Fitter::rows_at_nodes(const LevelBlock& block, const Lanes& level, RowLanes* of_row) const {
  const double m = options_.messages_per_chance;
  const double per_softness = 1 / state_.softness;
  Lanes log_likelihood = Lanes::Zero();
  for (std::uint32_t i = 0; i < block.n_rows; ++i) {
    const std::uint32_t r = block.first_row + i;
    const LevelRow& row = data_.rows[r];
    const double n = weight_[r] * row.chances / m;
    const double heard = std::min<double>(weight_[r] * row.observed, n);
    const double pm = ceiling_[row.hour];
    RowLanes& at = of_row[i];
    at.z = ((level_of(block, row) + level) * per_softness).max(-20.0).min(20.0);
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

// Where a flight's level is looked at: at its mode, or at nodes about its posterior mean.
Fitter::FlightNodes Fitter::flight_nodes(std::uint32_t flight) const {
  FlightNodes out;
  if (rule_ != Rule::flights) return out;
  const double width = flight_width_[flight], q = flight_precision();
  const double log_scale = std::log(width) + 0.5 * std::log(q);
  const auto add = [&](double node, double weight) {
    const double shift = std::numbers::sqrt2 * width * node;
    const double level = state_.flight[flight] + shift;
    out.shift[out.n] = shift;
    out.log_weight[out.n++] = std::log(weight) + node * node - 0.5 * q * level * level + log_scale;
  };
  out.n = 0;
  if (width < well_known_db) {
    for (std::size_t j = 0; j < hermite_node_3.size(); ++j)
      add(hermite_node_3[j], hermite_weight_3[j]);
  } else {
    for (std::size_t j = 0; j < hermite_node.size(); ++j) add(hermite_node[j], hermite_weight[j]);
  }
  return out;
}

// Rate: adaptive Gauss-Hermite quadrature over the blocks' levels and, where asked for, over the
// flight's. Where all is heard, or nothing, the likelihood is one-sided and its mode says little of
// the level: blocks' modes shrink the pattern by a fifth when levels vary by 3 dB between sectors,
// flights' by a tenth where they are heard too well to tell a level.
void Fitter::integrate(std::uint32_t flight, std::size_t begin, std::size_t end, PassSum& all) {
  FlightNodes nodes = flight_nodes(flight);
  const std::size_t n_nodes = nodes.n;
  const std::uint32_t first_row = data_.blocks[begin].first_row;
  const std::size_t n_rows =
      data_.blocks[end - 1].first_row + data_.blocks[end - 1].n_rows - first_row;
  if (all.of_row.size() < n_rows * n_nodes) all.of_row.resize(n_rows * n_nodes);
  if (all.of_block.size() < (end - begin) * n_nodes) all.of_block.resize((end - begin) * n_nodes);
  const auto rows_of = [&](const LevelBlock& block, std::size_t node) {
    return &all.of_row[(block.first_row - first_row) * n_nodes + node * block.n_rows];
  };
  const double q = block_precision();
  for (std::size_t b = begin; b < end; ++b) {
    const LevelBlock& block = data_.blocks[b];
    // A block's level gives way to the flight's, as far as its rows say what both are together.
    const double follows = sums_[b].information / (sums_[b].information + q);
    for (std::size_t j = 0; j < n_nodes; ++j) {
      BlockLanes& at = all.of_block[(b - begin) * n_nodes + j];
      const double centre = state_.block[b] - follows * nodes.shift[j];
      at.level = centre + std::numbers::sqrt2 * width_[b] * node_at;
      at.weight = rows_at_nodes(block, at.level + nodes.shift[j], rows_of(block, j)) -
                  0.5 * q * at.level.square() + node_log_weight;
      const double top = at.weight.maxCoeff();
      at.weight = (at.weight - top).exp();
      const double total = at.weight.sum();
      at.weight /= total;
      nodes.log_weight[j] += top + std::log(total) + std::log(width_[b]) + half_log_precision_;
    }
  }
  std::array<double, 5> weight{};
  all.log_likelihood += weigh(flight, nodes, weight);
  for (std::size_t b = begin; b < end; ++b) {
    const LevelBlock& block = data_.blocks[b];
    BlockLanes* const at = &all.of_block[(b - begin) * n_nodes];
    BlockSum& sum = sums_[b];
    sum = {};
    double mean_square = 0;
    for (std::size_t j = 0; j < n_nodes; ++j) {
      const double mean = (at[j].weight * at[j].level).sum();
      sum.mean += weight[j] * mean;
      mean_square += weight[j] * mean * mean;
      sum.variance += weight[j] * ((at[j].weight * at[j].level.square()).sum() - mean * mean);
      at[j].weight *= weight[j];
    }
    sum.variance = std::max(1e-6, sum.variance);
    sum.variance_by_flight = std::max(0.0, mean_square - sum.mean * sum.mean);
    const double off_mode =
        rule_ == Rule::flights ? flight_mean_[flight] - state_.flight[flight] : 0;
    Lanes information_at = Lanes::Zero();
    for (std::uint32_t i = 0; i < block.n_rows; ++i) {
      const LevelRow& row = data_.rows[block.first_row + i];
      Lanes score = Lanes::Zero(), information = score, score_z = score, information_z = score,
            information_zz = score;
      for (std::size_t j = 0; j < n_nodes; ++j) {
        const RowLanes& lane = rows_of(block, j)[i];
        const Lanes scored = at[j].weight * lane.score;
        const Lanes informed = at[j].weight * lane.information;
        const Lanes informed_z = informed * lane.z;
        score += scored;
        information += informed;
        score_z -= scored * lane.z;
        information_z -= informed_z;
        information_zz += informed_z * lane.z;
      }
      if (n_nodes == 1) information_at += rows_of(block, 0)[i].information;
      sum.score += score.sum();
      sum.information += information.sum();
      add_covariates(sum, row, score.sum(), information.sum(), score_z.sum(), information_z.sum(),
                     information_zz.sum());
      add_ceiling(row, level_of(block, row) + off_mode + sum.mean, all);
    }
    // The regression on the nodes' levels.
    if (n_nodes == 1)
      sum.information_slope =
          (at->weight * (information_at - sum.information) * (at->level - sum.mean)).sum() /
          sum.variance;
  }
}

// Posterior weights of a flight's nodes, and what they say of its level; returns the log of the
// integral.
double Fitter::weigh(std::uint32_t flight, const FlightNodes& nodes,
                     std::array<double, 5>& weight) {
  const auto end = nodes.log_weight.begin() + static_cast<std::ptrdiff_t>(nodes.n);
  const double top = *std::max_element(nodes.log_weight.begin(), end);
  double total = 0, mean = 0, square = 0;
  for (std::size_t j = 0; j < nodes.n; ++j)
    total += weight[j] = std::exp(nodes.log_weight[j] - top);
  for (std::size_t j = 0; j < nodes.n; ++j) {
    weight[j] /= total;
    mean += weight[j] * nodes.shift[j];
    square += weight[j] * nodes.shift[j] * nodes.shift[j];
  }
  if (rule_ == Rule::flights) {
    flight_mean_[flight] = state_.flight[flight] + mean;
    flight_variance_[flight] = std::max(1e-6, square - mean * mean);
  }
  return top + std::log(total);
}

// From modes of flights' levels to their integrals: as wide, at first, as at the modes.
void Fitter::start_flights() {
  rule_ = Rule::flights;
  flight_mean_ = state_.flight;
  flight_variance_.assign(state_.flight.size(), 1.0);
  each_flight(0, data_.blocks.size(),
              [&](std::uint32_t flight, std::size_t begin, std::size_t end) {
                Reduced all = prior_of(flight);
                for (std::size_t b = begin; b < end; ++b) all += reduce(b);
                flight_variance_[flight] = 1 / all.information;
              });
  flight_width_.resize(flight_variance_.size());
}

// The quadrature takes the width of each posterior. Its centre moves with the state.
void Fitter::recentre() {
  for (std::size_t b = 0; b < width_.size(); ++b) {
    const BlockSum& sum = sums_[b];
    if (rule_ == Rule::mode) {
      width_[b] = 1 / std::sqrt(sum.information + block_precision());
    } else {
      width_[b] = std::sqrt(sum.variance);
      state_.block[b] = sum.mean;
    }
    width_[b] = std::clamp(width_[b], narrowest_db, widest_block_db);
  }
  if (rule_ != Rule::flights) return;
  state_.flight = flight_mean_;
  for (std::size_t f = 0; f < flight_width_.size(); ++f)
    flight_width_[f] = std::clamp(std::sqrt(flight_variance_[f]), narrowest_db, widest_flight_db);
}

}  // namespace roundel::pattern::levels
