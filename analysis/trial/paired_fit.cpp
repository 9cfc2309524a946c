#include "analysis/trial/paired_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "analysis/pattern/beside.h"
#include "analysis/pattern/level_lanes.h"
#include "roundel/pattern/quadrature.h"
#include "roundel/pattern/threshold.h"

namespace roundel::trial {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr int least_paired_flights = 5;
constexpr double least_paired_effective = 3.5;
constexpr double widest_paired_se_db = 2.5;
constexpr int most_steps = 12;
// A sector that only one side hears has no finite difference; this wide prior keeps it so.
constexpr double difference_prior_db = 8;
// Blocks with less information than this (per dB^2) cannot move anything.
constexpr double least_paired_information = 1e-4;

// The softness is that of either antenna alone, which has shadowing of the aircraft in it; two at
// once share that, and a difference comes out up to a twentieth too large
// (docs/calibration-trials).
constexpr double shared_shadow_error = 0.04;

// Of so many blocks every eighth flight's show where the rest lead.
constexpr std::size_t many_blocks = 20'000, one_flight_in = 8;

// A block that can be expected to say less than this share of what those of its sector do on
// average, by where its aircraft flew, is left out. It is all heard, or none of it, unless the
// flight is an odd one: half of a week's blocks, which hold 1/200 of what is known, and nowhere
// more than this share.
constexpr double least_expected_share = 0.04;

// Into which the blocks are cut, to be looked at beside each other.
constexpr std::size_t n_stretches = 8;

using pattern::hermite_node;
using pattern::hermite_weight;

struct Row {
  float offset_db, heard_a, heard_b, chances;
  float ceiling_a, ceiling_b;
};

struct Block {
  std::uint32_t flight{};
  std::uint16_t sector{};
  std::uint32_t first{}, n{};
  double mode{}, width{};  // of the level's posterior; no width: not looked at yet
};

struct Slope {
  double score{}, information{};
};

// A count's slope in the level.
Slope slope(double heard, double chances, double level_db, double ceiling, double m, double w) {
  const auto at = pattern::Threshold::normal().at(level_db / w);
  const double p = ceiling * at.share;
  double q = p, dq = ceiling * at.slope / w;
  const double n = chances / m;
  if (m != 1) {
    const double missed = std::pow(1 - p, m - 1);
    dq *= m * missed;
    q = 1 - missed * (1 - p);
  }
  q = std::clamp(q, 1e-9, 1 - 1e-9);
  const double per_variance = dq / (q * (1 - q));
  return {(std::min(heard, n) - n * q) * per_variance, n * dq * per_variance};
}

// What a chance says of the level where that is expected to be so much, whose it is unknown.
class ExpectedInformation {
 public:
  explicit ExpectedInformation(const PairedScale& scale) {
    constexpr double usual_ceiling = 0.95;
    for (std::size_t i = 0; i < by_level_.size(); ++i) {
      const double level_db = lowest_db + step_db * static_cast<double>(i);
      for (std::size_t k = 0; k < hermite_node.size(); ++k)
        by_level_[i] +=
            hermite_weight[k] *
            slope(0, 1, level_db + std::numbers::sqrt2 * scale.level_sd_db * hermite_node[k],
                  usual_ceiling, scale.messages_a, scale.softness_db)
                .information;
    }
  }
  double at(double level_db) const {
    const double i = std::clamp((level_db - lowest_db) / step_db + 0.5, 0.0,
                                static_cast<double>(by_level_.size() - 1));
    return by_level_[static_cast<std::size_t>(i)];
  }

 private:
  static constexpr double lowest_db = -60, step_db = 0.25;
  std::array<double, 481> by_level_{};
};

namespace lanes = pattern::levels;
constexpr std::size_t n_nodes = hermite_node.size();

// The five nodes in one group of eight lanes; those of the second side have been weighed by the
// first.
lanes::NodePattern five_nodes(bool are_weighed) {
  constexpr float nothing = -1e30F;
  lanes::NodePattern out;
  out.n_own = n_nodes;
  out.n_groups = 1;
  out.log_weight[0].at.fill(nothing);
  for (std::size_t i = 0; i < n_nodes; ++i) {
    out.own[0].at[i] = static_cast<float>(std::numbers::sqrt2 * hermite_node[i]);
    out.log_weight[0].at[i] =
        are_weighed
            ? 0
            : static_cast<float>(std::log(hermite_weight[i]) + hermite_node[i] * hermite_node[i]);
  }
  return out;
}
const lanes::NodePattern& nodes_of(std::size_t side) {
  static const std::array<lanes::NodePattern, 2> of{five_nodes(false), five_nodes(true)};
  return of[side];
}

// What one side says of a block at every node.
struct SideLanes {
  lanes::BlockLanes block;
  std::vector<lanes::RowAsked> asked;
  std::vector<lanes::RowLanes> rows;
};
using BothLanes = std::array<SideLanes, 2>;

class PairedFit {
 public:
  PairedFit(const Pairs& pairs, int stratum, int n_sectors, const PairedScale& scale)
      : scale_(scale), n_sectors_(n_sectors), d_(VectorXd::Zero(n_sectors)) {
    prior_ = 1 / (scale.level_sd_db * scale.level_sd_db);
    collect(pairs, stratum);
    leave_out_idle();
  }

  Difference run() {
    // From far with some of the flights, where a step costs little; from near by with all.
    const std::size_t some = blocks_.size() < many_blocks ? 1 : one_flight_in;
    if (some > 1) climb(some);
    climb(1);
    return errors();
  }

 private:
  double ceiling(const std::vector<double>& by_hour, std::uint32_t hour) const {
    if (by_hour.empty()) return 0.9;
    const std::size_t at = hour < scale_.first_hour ? 0 : hour - scale_.first_hour;
    return by_hour[std::min(at, by_hour.size() - 1)];
  }

  void collect(const Pairs& pairs, int stratum) {
    rows_.reserve(pairs.groups.size());
    blocks_.reserve(pairs.groups.size());
    for (const PairGroup& group : pairs.groups) {
      if (group.stratum != stratum || group.heard_a + group.heard_b == 0) continue;
      const Row next{group.offset_db,
                     group.heard_a,
                     group.heard_b,
                     group.chances,
                     static_cast<float>(ceiling(scale_.ceiling_a, group.hour)),
                     static_cast<float>(ceiling(scale_.ceiling_b, group.hour))};
      if (blocks_.empty() || blocks_.back().flight != group.flight ||
          blocks_.back().sector != group.sector) {
        Block block;
        block.flight = group.flight;
        block.sector = group.sector;
        block.first = static_cast<std::uint32_t>(rows_.size());
        block.mode = scale_.level_db[group.sector];
        blocks_.push_back(block);
      } else if (Row& last = rows_.back(); std::abs(last.offset_db - next.offset_db) < 0.5F &&
                                           last.ceiling_a == next.ceiling_a) {
        const float share = next.chances / (last.chances + next.chances);
        last.offset_db += share * (next.offset_db - last.offset_db);
        last.heard_a += next.heard_a;
        last.heard_b += next.heard_b;
        last.chances += next.chances;
        continue;
      }
      rows_.push_back(next);
      ++blocks_.back().n;
    }
  }

  // Leaves out blocks that say next to nothing, whatever was heard.
  void leave_out_idle() {
    const ExpectedInformation of(scale_);
    const auto n = static_cast<std::size_t>(n_sectors_);
    std::vector<double> expected, sum(n, 0.0), count(n, 0.0);
    expected.reserve(blocks_.size());
    for (const Block& block : blocks_) {
      double information = 0;
      for (std::uint32_t r = block.first; r < block.first + block.n; ++r)
        information += rows_[r].chances * of.at(scale_.level_db[block.sector] + rows_[r].offset_db);
      expected.push_back(information);
      sum[block.sector] += information;
      ++count[block.sector];
    }
    std::size_t kept = 0;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      const std::size_t s = blocks_[b].sector;
      if (expected[b] >= least_expected_share * sum[s] / count[s]) blocks_[kept++] = blocks_[b];
    }
    blocks_.resize(kept);
  }

  // Moves a block's level to its mode, from where it was last time.
  void find_mode(Block& block) const {
    const double half = d_[block.sector] / 2;
    constexpr int first_steps = 4;
    constexpr double near = 0.2;  // of the posterior's width: as well centred as the nodes need
    double information = prior_;
    bool is_near = false;
    for (int i = block.width > 0 ? first_steps - 1 : 0; i < first_steps && !is_near; ++i) {
      information = prior_;
      double score = -prior_ * (block.mode - scale_.level_db[block.sector]);
      for (std::uint32_t r = block.first; r < block.first + block.n; ++r) {
        const Row& row = rows_[r];
        const double level = block.mode + row.offset_db;
        for (const Slope& one : {slope(row.heard_a, row.chances, level + half, row.ceiling_a,
                                       scale_.messages_a, scale_.softness_db),
                                 slope(row.heard_b, row.chances, level - half, row.ceiling_b,
                                       scale_.messages_b, scale_.softness_db)}) {
          score += one.score;
          information += one.information;
        }
      }
      const double step = std::clamp(score / information, -3.0, 3.0);
      block.mode += step;
      is_near = step * step * information < near * near;
    }
    block.width = std::clamp(1 / std::sqrt(information), 0.05, 6.0);
  }

  // One side at the nodes about a block's mode. The level's prior goes with the first.
  void look_at(const Block& block, std::size_t side, SideLanes& to) const {
    const auto number = [](double value) { return static_cast<float>(value); };
    const auto threshold = pattern::Threshold::normal();
    const double centre = scale_.level_db[block.sector];
    const double half = d_[block.sector] / (side == 0 ? 2 : -2);
    const double m = side == 0 ? scale_.messages_a : scale_.messages_b;
    to.asked.clear();
    for (std::uint32_t r = block.first; r < block.first + block.n; ++r) {
      const Row& row = rows_[r];
      const float ceiling = side == 0 ? row.ceiling_a : row.ceiling_b;
      const float chances = number(row.chances / m);
      to.asked.push_back({chances, std::min(side == 0 ? row.heard_a : row.heard_b, chances),
                          ceiling, 1 - ceiling, number(row.offset_db + centre + half)});
    }
    if (to.rows.size() < block.n) to.rows.resize(block.n);
    to.block.pattern = &nodes_of(side);
    lanes::look_at_nodes(
        {number(threshold.linear()), number(threshold.cubic()), number(1 / scale_.softness_db),
         number(m)},
        {number(block.mode - centre), 0, number(block.width), side == 0 ? number(prior_ / 2) : 0},
        {}, to.asked.data(), block.n, to.block, to.rows.data());
  }

  // Score and information of a block in its sector's difference, its level integrated out.
  struct Part {
    double score{}, information{};
  };
  Part integrate(Block& block, BothLanes& both) const {
    find_mode(block);
    for (std::size_t side = 0; side < 2; ++side) look_at(block, side, both[side]);
    double total = 0;
    auto& weight = both[0].block.weight[0].at;
    for (std::size_t i = 0; i < weight.size(); ++i)
      total += weight[i] *= both[1].block.weight[0].at[i];
    both[1].block.weight[0] = both[0].block.weight[0];
    std::array<Slope, 2> sum;
    for (std::size_t side = 0; side < 2; ++side) {
      for (std::uint32_t i = 0; i < block.n; ++i) {
        const auto row = lanes::over_nodes(both[side].block, &both[side].rows[i]);
        sum[side].score += row.score / total;
        sum[side].information += row.information / total;
      }
    }
    const auto& [a, b] = sum;
    const double level_information = a.information + b.information + prior_;
    Part out;
    out.score = (a.score - b.score) / 2;
    out.information = (a.information + b.information) / 4 - (a.information - b.information) *
                                                                (a.information - b.information) /
                                                                4 / level_information;
    return out;
  }

  // Steps until no sector moves by 0.1 dB: a step leaves less than a tenth of what was missing.
  // Sectors have nothing in common: each is looked at until it has arrived.
  void climb(std::size_t one_in) {
    constexpr double tolerance_db = 0.1;
    std::vector<bool> moves(static_cast<std::size_t>(n_sectors_), true);
    parts_.resize(blocks_.size());
    for (int step = 0; step < most_steps; ++step) {
      const VectorXd before = d_;
      improve(one_in, moves);
      bool is_done = true;
      for (Eigen::Index s = 0; s < n_sectors_; ++s) {
        // Sectors without traffic have no say in when to stop.
        const bool moved = information_[s] > 1 && std::abs(d_[s] - before[s]) >= tolerance_db;
        is_done = is_done && !moved;
        moves[static_cast<std::size_t>(s)] = moved;
      }
      if (is_done) return;
    }
  }

  // One scoring step of the sectors that move.
  void improve(std::size_t one_in, const std::vector<bool>& moves) {
    pattern::each_beside(n_stretches, [&](std::size_t i) {
      BothLanes both;
      const std::size_t end = blocks_.size() * (i + 1) / n_stretches;
      for (std::size_t b = blocks_.size() * i / n_stretches; b < end; ++b)
        if (moves[blocks_[b].sector])
          parts_[b] = blocks_[b].flight % one_in == 0 ? integrate(blocks_[b], both) : Part{};
    });
    constexpr double prior = 1 / (difference_prior_db * difference_prior_db);
    score_ = -prior * d_;
    information_ = VectorXd::Constant(n_sectors_, prior);
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      score_[blocks_[b].sector] += parts_[b].score;
      information_[blocks_[b].sector] += parts_[b].information;
    }
    for (Eigen::Index s = 0; s < n_sectors_; ++s)
      if (moves[static_cast<std::size_t>(s)])
        d_[s] += std::clamp(score_[s] / information_[s], -3.0, 3.0);
  }

  Difference errors() const {
    Difference out;
    out.value = d_;
    out.covariance = MatrixXd::Zero(n_sectors_, n_sectors_);
    const auto n = static_cast<std::size_t>(n_sectors_);
    std::vector<double> total(n, 0.0), squares(n, 0.0);
    out.flights.assign(n, 0);
    std::vector<std::pair<Eigen::Index, double>> shift;
    for (std::size_t begin = 0; begin < blocks_.size();) {
      std::size_t end = begin;
      shift.clear();
      for (; end < blocks_.size() && blocks_[end].flight == blocks_[begin].flight; ++end) {
        const Part& part = parts_[end];
        if (part.information < least_paired_information) continue;
        const auto s = static_cast<Eigen::Index>(blocks_[end].sector);
        const double leverage = std::min(0.9, part.information / information_[s]);
        shift.emplace_back(s, part.score / information_[s] / (1 - leverage));
        total[blocks_[end].sector] += part.information;
        squares[blocks_[end].sector] += part.information * part.information;
        if (part.information > 0.05) ++out.flights[blocks_[end].sector];
      }
      for (const auto& [i, x] : shift)
        for (const auto& [j, y] : shift) out.covariance(i, j) += x * y;
      begin = end;
    }
    for (std::size_t i = 0; i < n; ++i) {
      const auto s = static_cast<Eigen::Index>(i);
      const double effective = squares[i] > 0 ? total[i] * total[i] / squares[i] : 0;
      out.freedom.push_back(std::max(2.0, effective - 1));
      out.known.push_back(out.flights[i] >= least_paired_flights &&
                          effective >= least_paired_effective &&
                          1 / information_[s] < widest_paired_se_db * widest_paired_se_db &&
                          out.covariance(s, s) < widest_paired_se_db * widest_paired_se_db);
    }
    out.scale_error = std::hypot(scale_.softness_se_db / scale_.softness_db, shared_shadow_error);
    return out;
  }

  const PairedScale& scale_;
  int n_sectors_;
  double prior_{};
  std::vector<Row> rows_;
  std::vector<Block> blocks_;
  std::vector<Part> parts_;
  VectorXd d_, score_, information_;
};

}  // namespace

Difference paired_difference(const Pairs& pairs, int stratum, int n_sectors,
                             const PairedScale& scale) {
  return PairedFit(pairs, stratum, n_sectors, scale).run();
}

}  // namespace roundel::trial
