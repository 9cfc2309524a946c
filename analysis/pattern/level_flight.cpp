#include "analysis/pattern/level_flight.h"

#include <cmath>
#include <numbers>

#include "roundel/pattern/quadrature.h"

namespace roundel::pattern::levels {
namespace {

constexpr double narrowest_db = 0.03, widest_flight_db = 12, widest_block_db = 6;
// A level known to this, in dB, is nearly normal: three nodes do.
constexpr double well_known_db = 0.7;

// Nodes and log weights about a centre, of a normal prior of mean 0.
struct Nodes {
  std::size_t n;
  std::array<double, 5> at{}, log_weight{};
};
Nodes nodes_about(double centre, double width, double prior_sd) {
  Nodes out{width < well_known_db ? hermite_node_3.size() : hermite_node.size(), {}, {}};
  for (std::size_t i = 0; i < out.n; ++i) {
    const double x = out.n == 3 ? hermite_node_3[i] : hermite_node[i];
    const double weight = out.n == 3 ? hermite_weight_3[i] : hermite_weight[i];
    out.at[i] = centre + std::numbers::sqrt2 * width * x;
    const double z = out.at[i] / prior_sd;
    out.log_weight[i] = std::log(weight * width / prior_sd) + x * x - 0.5 * z * z;
  }
  return out;
}

double width_of(double information, double widest_db) {
  return std::clamp(1 / std::sqrt(information), narrowest_db, widest_db);
}

// Turns logarithms into shares of 1; returns the logarithm of their sum.
template <class Values>
double to_shares(Values& values, std::size_t n) {
  double top = values[0], sum = 0;
  for (std::size_t i = 1; i < n; ++i) top = std::max(top, values[i]);
  for (std::size_t i = 0; i < n; ++i) sum += values[i] = std::exp(values[i] - top);
  for (std::size_t i = 0; i < n; ++i) values[i] /= sum;
  return top + std::log(sum);
}

}  // namespace

Threshold::At Fitter::threshold_at(double z) const {
  if (looked_up_.empty()) return threshold_.at(z);
  const double place = (std::clamp(z, -20.0, 19.99) + 20) * steps_of_z;
  const auto i = static_cast<std::size_t>(place);
  const double share = place - static_cast<double>(i);
  const Threshold::At &a = looked_up_[i], &b = looked_up_[i + 1];
  return {a.share + share * (b.share - a.share), a.slope + share * (b.slope - a.slope),
          a.by_skew + share * (b.by_skew - a.by_skew),
          a.by_log_tail + share * (b.by_log_tail - a.by_log_tail)};
}

Fitter::Chance Fitter::chance_of(const LevelRow& row, double level_db, bool asks_likelihood) const {
  Chance out;
  if (!is_rate_) {
    const double precision = row.chances / (state_.noise * state_.noise);
    const double off = row.observed - level_db;
    out.by[0] = 1;
    out.per_variance = precision;
    out.residual = precision * off;
    out.log_likelihood = -0.5 * precision * off * off;
    return out;
  }
  const double m = options_.messages_per_chance, n = row.chances / m;
  const Threshold::At at = threshold_at(level_db / softness_);
  const double pm = ceiling_[row.hour], p = pm * at.share;
  double chance = p, by_p = 1;
  if (m != 1) {
    const double missed = std::pow(1 - p, m - 1);
    chance = 1 - missed * (1 - p);
    by_p = m * missed;
  }
  const double q = std::clamp(chance, 1e-9, 1 - 1e-9), variance = q * (1 - q);
  const double heard = std::min<double>(row.observed, n);
  const double by_level = by_p * pm * at.slope / softness_;
  out.by = {by_level, -by_level * level_db, by_p * pm * at.by_skew, by_p * pm * at.by_log_tail,
            by_p * at.share * pm * (1 - pm)};
  out.residual = (heard - n * q) / variance;
  out.per_variance = n / variance;
  if (asks_likelihood) out.log_likelihood = heard * std::log(q) + (n - heard) * std::log1p(-q);
  return out;
}

// Adds a row at the posterior of its levels; returns what it tells of its level.
template <class Row>
double Fitter::take_row(Row& row, const auto& block, const std::array<double, 5>& share,
                        std::size_t n_nodes, const Scratch& scratch, FlightSum& out, auto& of_block,
                        PassSum& all) const {
  const std::size_t number = scratch.number(row);
  const LevelRow& observed = data_.rows[number];
  constexpr std::size_t n_all = 1 + Layout::n_shape;
  std::array<double, n_all> score{};
  std::array<std::array<double, n_all>, n_all> square{};
  for (std::size_t k = 0; k < n_nodes; ++k)
    for (std::size_t j = 0; j < block.n; ++j) {
      const double posterior = share[k] * block.share[k][j];
      if (posterior < 1e-4) continue;
      const Chance at = chance_of(observed, row.design.level_db + block.shift[k][j], false);

      for (std::size_t i = 0; i < n_all; ++i) {
        score[i] += posterior * at.residual * at.by[i];
        const double by = posterior * at.per_variance * at.by[i];
        for (std::size_t l = 0; l <= i; ++l) square[i][l] += by * at.by[l];
      }
      if (!is_rate_) {
        const double off = at.residual / at.per_variance;
        all.residual += posterior * observed.chances * off * off;
      }
    }
  all.n_rows += 1;
  row.score = score[0];
  row.information = square[0][0];
  // Parameters that the row has a part in: terms of its level, the threshold's, its hour's ceiling.
  const auto of_level = [&](Index local, double by) {
    out.score[local] += by * score[0];
    of_block[local] += by * square[0][0];
    for (std::size_t j = 0; j < row.design.n; ++j) {
      const Design::Term& other = row.design.terms[j];
      out.information(scratch.local(other.at), local) += by * square[0][0] * other.by;
    }
  };
  for (std::size_t i = 0; i < row.design.n; ++i)
    of_level(scratch.local(row.design.terms[i].at), row.design.terms[i].by);
  if (!is_rate_) return row.information;
  const Index shape = scratch.local(layout_.shape());
  const auto of_chance = [&](Index local, std::size_t i) {
    out.score[local] += score[i];
    of_block[local] += square[i][0];
    for (std::size_t j = 0; j < row.design.n; ++j) {
      const Design::Term& term = row.design.terms[j];
      const double cross = term.by * square[i][0];
      out.information(local, scratch.local(term.at)) += cross;
      out.information(scratch.local(term.at), local) += cross;
    }
  };
  for (std::size_t i = 1; i < n_all; ++i) {
    of_chance(shape + static_cast<Index>(i) - 1, i);
    for (std::size_t j = 1; j < n_all; ++j)
      out.information(shape + static_cast<Index>(i) - 1, shape + static_cast<Index>(j) - 1) +=
          square[std::max(i, j)][std::min(i, j)];
  }
  if (!has_hours()) return row.information;
  const Index hour = scratch.local(hour_parameter(observed.hour));
  constexpr std::size_t ceiling = n_all - 1;
  of_chance(hour, ceiling);
  for (std::size_t j = 1; j < n_all; ++j) {
    const Index local = shape + static_cast<Index>(j) - 1;
    out.information(hour, local) += square[ceiling][j];
    out.information(local, hour) += square[ceiling][j];
  }
  out.information(hour, hour) += square[ceiling][ceiling];
  return row.information;
}

// What a block's own level says of how such levels vary.
void Fitter::take_block(const auto& block, const auto& of_flight,
                        const std::array<double, 5>& share, PassSum& all) const {
  double mean = 0, square = 0;
  for (std::size_t k = 0; k < of_flight.n; ++k)
    for (std::size_t j = 0; j < block.n; ++j) {
      const double own = block.shift[k][j] - of_flight.at[k],
                   posterior = share[k] * block.share[k][j];
      mean += posterior * own;
      square += posterior * own * own;
    }
  // A block of which next to nothing is known would only slow the steps down.
  constexpr double some = 0.05;
  if (block.information < some) return;
  all.block_squares += square;
  all.n_blocks += 1;
}

// The flight's level and its blocks' own at their joint mode, from where they were before: what
// the nodes are laid about. Returns the information on the flight's level.
double Fitter::find_mode(std::size_t begin, std::size_t end, Scratch& scratch) {
  constexpr int most_steps = 8;
  constexpr double near_db = 0.05, longest_db = 3;
  const std::uint32_t flight = data_.blocks[begin].flight;
  const double block_precision = 1 / (state_.sigma_block * state_.sigma_block);
  const double flight_precision = 1 / (state_.sigma_flight * state_.sigma_flight);
  double& level = state_.flight[flight];
  double all_information = flight_precision;
  for (int i = 0; i < most_steps; ++i) {
    all_information = flight_precision;
    double all_score = -flight_precision * level;
    auto row = scratch.rows().begin();
    for (std::size_t b = begin; b < end; ++b) {
      Scratch::Block& block = scratch.blocks()[b - begin];
      block.score = block.information = 0;
      for (std::uint32_t r = 0; r < data_.blocks[b].n_rows; ++r, ++row) {
        const std::size_t number = data_.blocks[b].first_row + r;
        const Chance at =
            chance_of(data_.rows[number], row->design.level_db + level + state_.block[b], false);
        block.score += at.residual * at.by[0];
        block.information += at.per_variance * at.by[0] * at.by[0];
      }
      const double kept = block_precision / (block.information + block_precision);
      all_information += kept * block.information;
      all_score += block.score - (1 - kept) * (block.score - block_precision * state_.block[b]);
    }
    const double step = std::clamp(all_score / all_information, -longest_db, longest_db);
    level += step;
    double largest = std::abs(step);
    for (std::size_t b = begin; b < end; ++b) {
      const Scratch::Block& block = scratch.blocks()[b - begin];
      const double own =
          std::clamp((block.score - block_precision * state_.block[b] - block.information * step) /
                         (block.information + block_precision),
                     -longest_db, longest_db);
      state_.block[b] += own;
      largest = std::max(largest, std::abs(own) * std::min(1.0, block.information));
    }
    if (largest < near_db) break;
  }
  return all_information;
}

FlightSum Fitter::integrate(std::size_t begin, std::size_t end, Scratch& scratch, PassSum& all) {
  FlightSum out;
  const std::uint32_t flight = data_.blocks[begin].flight;
  const bool is_random = options_.random_flights;
  scratch.open(data_.blocks[begin].first_row, layout_.size() + hours().size());
  for (std::size_t b = begin; b < end; ++b) {
    scratch.add_block();
    for (std::uint32_t r = 0; r < data_.blocks[b].n_rows; ++r)
      scratch.add(design_of(data_.blocks[b], data_.rows[data_.blocks[b].first_row + r]));
  }
  Nodes of_flight{1, {}, {}};
  if (is_random) {
    const double information = find_mode(begin, end, scratch);
    of_flight = nodes_about(state_.flight[flight], width_of(information, widest_flight_db),
                            state_.sigma_flight);
  }
  const std::size_t n_nodes = of_flight.n;
  std::array<double, 5> share = of_flight.log_weight;

  // How likely each node is: of the flight's level, and within it of each block's own.
  const double block_precision = is_random ? 1 / (state_.sigma_block * state_.sigma_block) : 0;
  auto next = scratch.rows().begin();
  for (std::size_t b = begin; b < end; ++b) {
    Scratch::Block& at = scratch.blocks()[b - begin];
    const double follows = at.information / (at.information + block_precision);
    for (std::size_t k = 0; k < n_nodes && is_random; ++k) {
      // As the flight's level rises, its blocks' give way.
      const Nodes own = nodes_about(
          state_.block[b] - follows * (of_flight.at[k] - state_.flight[flight]),
          width_of(at.information + block_precision, widest_block_db), state_.sigma_block);
      at.n = own.n;
      for (std::size_t j = 0; j < own.n; ++j) {
        at.shift[k][j] = of_flight.at[k] + own.at[j];
        at.share[k][j] = own.log_weight[j];
      }
    }
    for (std::uint32_t r = 0; r < data_.blocks[b].n_rows; ++r, ++next) {
      const std::size_t number = data_.blocks[b].first_row + r;
      for (std::size_t k = 0; k < n_nodes; ++k)
        for (std::size_t j = 0; j < at.n; ++j)
          at.share[k][j] +=
              chance_of(data_.rows[number], next->design.level_db + at.shift[k][j], true)
                  .log_likelihood;
    }
    for (std::size_t k = 0; k < n_nodes; ++k) share[k] += to_shares(at.share[k], at.n);
  }
  out.log_likelihood = to_shares(share, n_nodes);
  for (std::size_t k = 0; k < n_nodes; ++k) out.mean += share[k] * of_flight.at[k];
  for (std::size_t k = 0; k < n_nodes; ++k)
    out.variance += share[k] * (of_flight.at[k] - out.mean) * (of_flight.at[k] - out.mean);

  // Scores and information: posterior means, less what the unknown levels hide (Louis): each
  // level's variance times what it is crossed with.
  for (Index i = 0; is_rate_ && i < Layout::n_shape; ++i) scratch.take(layout_.shape() + i);
  for (const Scratch::Row& of : scratch.rows())
    if (has_hours()) scratch.take(hour_parameter(data_.rows[scratch.number(of)].hour));
  out.support = scratch.support();
  const auto n = static_cast<Index>(out.support.size());
  out.information = MatrixXd::Zero(n, n);
  out.score = VectorXd::Zero(n);
  out.of_all = VectorXd::Zero(n);
  out.of_block = MatrixXd::Zero(n, static_cast<Index>(end - begin));
  auto row = scratch.rows().begin();
  for (std::size_t b = begin; b < end; ++b) {
    auto of_block = out.of_block.col(static_cast<Index>(b - begin));
    const Scratch::Block& block = scratch.blocks()[b - begin];
    double information = 0;
    for (std::uint32_t r = 0; r < data_.blocks[b].n_rows; ++r, ++row)
      information += take_row(*row, block, share, n_nodes, scratch, out, of_block, all);
    if (!is_random) continue;
    take_block(block, of_flight, share, all);
    const double hidden = 1 / (information + block_precision);
    out.information.noalias() -= hidden * of_block * of_block.transpose();
    out.hidden.push_back(hidden);
    out.of_all += of_block * (1 - information * hidden);
    out.level_information += information * (1 - information * hidden);
  }
  if (is_random) {
    out.variance_of_level =
        1 / (out.level_information + 1 / (state_.sigma_flight * state_.sigma_flight));
    out.information.noalias() -= out.variance_of_level * out.of_all * out.of_all.transpose();
  }
  return out;
}

}  // namespace roundel::pattern::levels
