#include <numbers>
#include <span>

#include "analysis/pattern/level_fitter.h"
#include "roundel/pattern/quadrature.h"

namespace roundel::pattern::levels {
namespace {

// A level known to this, in dB, is nearly normal: three nodes do.
constexpr double well_known_db = 0.7;

constexpr double narrowest_db = 0.03, widest_block_db = 6, widest_flight_db = 12;

struct Nodes {
  std::span<const double> node, weight;
};
Nodes nodes_for(double width_db) {
  if (width_db < well_known_db) return {hermite_node_3, hermite_weight_3};
  return {hermite_node, hermite_weight};
}

// Nodes of a block's own level, once for each of the flight's.
NodePattern pattern_of(std::size_t n_flight, const Nodes& own) {
  constexpr float nothing = -1e30F;  // the log of the weight of lanes left over
  NodePattern out;
  out.n_own = own.node.size();
  out.n_groups = (n_flight * out.n_own + lane_width - 1) / lane_width;
  for (Lanes& lanes : out.log_weight) lanes.at.fill(nothing);
  for (std::size_t i = 0; i < n_flight * out.n_own; ++i) {
    const double node = own.node[i % out.n_own];
    lane(out.own, i) = static_cast<float>(std::numbers::sqrt2 * node);
    lane(out.log_weight, i) = static_cast<float>(std::log(own.weight[i % out.n_own]) + node * node);
  }
  return out;
}

// The nodes of a block's own level: at a flight's mode, and where the flight's level is well known,
// five; else as it asks for itself.
const NodePattern& pattern_for(std::size_t n_flight, double width_db) {
  static const NodePattern of_one = pattern_of(1, nodes_for(widest_block_db)),
                           of_three = pattern_of(3, nodes_for(widest_block_db)),
                           few_of_five = pattern_of(5, nodes_for(narrowest_db)),
                           many_of_five = pattern_of(5, nodes_for(widest_block_db));
  if (n_flight == 1) return of_one;
  if (n_flight == 3) return of_three;
  return width_db < well_known_db ? few_of_five : many_of_five;
}

}  // namespace

// Where a flight's level is looked at: at its mode, or at nodes about its posterior mean.
Fitter::FlightNodes Fitter::flight_nodes(std::uint32_t flight) const {
  FlightNodes out;
  const double width = rule_ == Rule::flights ? flight_width_[flight] : 0;
  if (rule_ == Rule::flights) {
    const double q = flight_precision(), log_scale = std::log(width) + 0.5 * std::log(q);
    const Nodes of = nodes_for(width);
    out.n = of.node.size();
    for (std::size_t j = 0; j < out.n; ++j) {
      const double node = of.node[j];
      out.shift[j] = std::numbers::sqrt2 * width * node;
      const double level = state_.flight[flight] + out.shift[j];
      out.log_weight[j] =
          std::log(of.weight[j]) + node * node - 0.5 * q * level * level + log_scale;
    }
  }
  out.few = &pattern_for(out.n, narrowest_db);
  out.many = &pattern_for(out.n, widest_block_db);
  for (const auto& [pattern, shifts] :
       {std::pair{out.few, &out.few_shifts}, {out.many, &out.many_shifts}}) {
    for (std::size_t i = 0; i < out.n * pattern->n_own; ++i)
      lane(*shifts, i) = static_cast<float>(out.shift[i / pattern->n_own]);
  }
  return out;
}

// Rate: adaptive Gauss-Hermite quadrature over the blocks' levels and, where asked for, over the
// flight's. Where all is heard, or nothing, the likelihood is one-sided and its mode says little of
// the level: blocks' modes shrink the pattern by a fifth when levels vary by 3 dB between sectors,
// flights' by a tenth where they are heard too well to tell a level.
void Fitter::integrate(std::uint32_t flight, std::size_t begin, std::size_t end, PassSum& all) {
  FlightNodes nodes = flight_nodes(flight);
  const std::uint32_t first_row = data_.blocks[begin].first_row;
  const std::size_t n_rows =
      data_.blocks[end - 1].first_row + data_.blocks[end - 1].n_rows - first_row;
  if (all.of_row.size() < n_rows * most_groups) all.of_row.resize(n_rows * most_groups);
  if (all.of_block.size() < end - begin) all.of_block.resize(end - begin);
  const auto rows_of = [&](std::size_t b) {
    return &all.of_row[(data_.blocks[b].first_row - first_row) * most_groups];
  };
  // Products over blocks: each factor is at most the number of nodes.
  std::array<double, 5> total{1, 1, 1, 1, 1};
  for (std::size_t b = begin; b < end; ++b) {
    BlockLanes& at = all.of_block[b - begin];
    look_at(b, nodes, all.asked, at, rows_of(b));
    for (std::size_t j = 0; j < nodes.n; ++j) {
      total[j] *= at.total[j];
      if (total[j] < 1e-200) {
        nodes.log_weight[j] += std::log(total[j]);
        total[j] = 1;
      }
    }
    all.log_likelihood += at.top + std::log(width_[b]) + half_log_precision_;
  }
  for (std::size_t j = 0; j < nodes.n; ++j) nodes.log_weight[j] += std::log(total[j]);
  std::array<double, 5> weight{};
  all.log_likelihood += weigh(flight, nodes, weight);
  for (std::size_t b = begin; b < end; ++b)
    take_weights(nodes, weight, all.of_block[b - begin], sums_[b]);
  for (std::size_t b = begin; b < end; ++b) {
    const BlockLanes& at = all.of_block[b - begin];
    take_rows(data_.blocks[b], nodes, at, rows_of(b), sums_[b], all);
  }
}

// A block at all its nodes: how likely what was heard is there.
void Fitter::look_at(std::size_t b, const FlightNodes& nodes, std::vector<RowAsked>& asked,
                     BlockLanes& at, RowLanes* of_row) const {
  const LevelBlock& block = data_.blocks[b];
  asked.clear();
  for (std::uint32_t r = block.first_row; r < block.first_row + block.n_rows; ++r) {
    const LevelRow& row = data_.rows[r];
    RowAsked one;
    one.chances = static_cast<float>(weight_[r] * row.chances / options_.messages_per_chance);
    one.heard = std::min(static_cast<float>(weight_[r]) * row.observed, one.chances);
    one.ceiling = static_cast<float>(ceiling_[row.hour]);
    one.open = static_cast<float>(1 - ceiling_[row.hour]);
    one.level_db = static_cast<float>(level_of(block, row));
    asked.push_back(one);
  }
  const double q = block_precision();
  const bool is_few = width_[b] < well_known_db;
  at.pattern = is_few ? nodes.few : nodes.many;
  // A block's level gives way to the flight's, as far as its rows say what both are together.
  const double follows = sums_[b].information / (sums_[b].information + q);
  look_at_nodes(
      {static_cast<float>(options_.threshold.linear()),
       static_cast<float>(options_.threshold.cubic()), static_cast<float>(1 / state_.softness),
       static_cast<float>(options_.messages_per_chance)},
      {static_cast<float>(state_.block[b]), static_cast<float>(follows),
       static_cast<float>(width_[b]), static_cast<float>(0.5 * q)},
      is_few ? nodes.few_shifts : nodes.many_shifts, asked.data(), asked.size(), at, of_row);
  for (std::size_t j = 0; j < nodes.n; ++j) {
    at.total[j] = 1e-30F;  // where the flight's level is out of the question
    for (std::size_t k = 0; k < at.pattern->n_own; ++k)
      at.total[j] += lane(at.weight, j * at.pattern->n_own + k);
  }
}

// Weights of a block's nodes, given those of its flight's, and what they say of its own level.
void Fitter::take_weights(const FlightNodes& nodes, const std::array<double, 5>& weight,
                          BlockLanes& at, BlockSum& sum) {
  const std::size_t n_own = at.pattern->n_own;
  sum = {};
  double mean_square = 0, square = 0;
  for (std::size_t j = 0, i = 0; j < nodes.n; ++j) {
    const auto weight_j = static_cast<float>(weight[j]);
    const float factor = weight_j / at.total[j];
    float mean = 0, square_j = 0;
    for (std::size_t k = 0; k < n_own; ++k, ++i) {
      const float level = lane(at.own, i), part = lane(at.weight, i) * level;
      mean += part;
      square_j += part * level;
      lane(at.weight, i) *= factor;
    }
    mean /= at.total[j];
    sum.mean += weight_j * mean;
    mean_square += weight_j * mean * mean;
    square += square_j * factor;
  }
  sum.variance = std::max(1e-6, square - mean_square);
  sum.variance_by_flight = std::max(0.0, mean_square - sum.mean * sum.mean);
}

// What the rows of a block say, over its nodes.
void Fitter::take_rows(const LevelBlock& block, const FlightNodes& nodes, const BlockLanes& at,
                       const RowLanes* of_row, BlockSum& sum, PassSum& all) const {
  const double off_mode =
      rule_ == Rule::flights ? flight_mean_[block.flight] - state_.flight[block.flight] : 0;
  Lanes information{};  // at each node
  for (std::uint32_t i = 0; i < block.n_rows; ++i, of_row += at.pattern->n_groups) {
    const LevelRow& row = data_.rows[block.first_row + i];
    const RowSum of = over_nodes(at, of_row);
    sum.score += of.score;
    sum.information += of.information;
    add_covariates(sum, row, of.score, of.information, -of.score_z, -of.information_z,
                   of.information_zz);
    const double z = (level_of(block, row) + off_mode + sum.mean) / state_.softness;
    if (z >= 0) add_ceiling(row, options_.threshold.at(z).share, all);
    for (std::size_t j = 0; j < lane_width; ++j) information.at[j] += of_row->information.at[j];
  }
  if (nodes.n > 1) return;
  // The regression on the nodes' levels.
  double slope = 0;
  for (std::size_t j = 0; j < lane_width; ++j)
    slope +=
        at.weight[0].at[j] * (information.at[j] - sum.information) * (at.own[0].at[j] - sum.mean);
  sum.information_slope = slope / sum.variance;
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
