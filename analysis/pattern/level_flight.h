// What is kept of one flight's rows while its level, and that of its blocks, is integrated out.
#pragma once
#include <algorithm>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern::levels {

/// What a row says at one level.
struct Fitter::Chance {
  double residual{};      ///< heard less expected, over the variance of one chance
  double per_variance{};  ///< chances over the variance of one
  /// Slopes of the chance: by the level, then by the threshold's parameters.
  std::array<double, 1 + Layout::n_shape> by{};
  double log_likelihood{};
};

/// Rows of a flight. Used again for the next.
struct Fitter::Scratch {
  static constexpr std::size_t most_nodes = 5;
  struct Row {
    Design design;
    double score{}, information{};  ///< of its level, posterior means
  };
  /// A block's level by the flight's node, then its own.
  using Nodes = std::array<std::array<double, most_nodes>, most_nodes>;
  struct Block {
    std::size_t n = 1;  ///< nodes of its own
    Nodes shift{}, share{};
    double score{}, information{};  ///< of its level, at the mode
  };

  void open(std::size_t first_row, Index n_parameters) {
    first_row_ = first_row;
    rows_.clear();
    blocks_.clear();
    for (const Index at : support_) local_[static_cast<std::size_t>(at)] = -1;
    support_.clear();
    local_.resize(static_cast<std::size_t>(n_parameters), -1);
  }
  Row& add(const Design& design) {
    for (std::size_t i = 0; i < design.n; ++i) take(design.terms[i].at);
    rows_.push_back({design, 0, 0});
    return rows_.back();
  }
  Block& add_block() { return blocks_.emplace_back(); }
  /// Notes a parameter that some row has a part in.
  void take(Index parameter) {
    Index& local = local_[static_cast<std::size_t>(parameter)];
    if (local >= 0) return;
    local = static_cast<Index>(support_.size());
    support_.push_back(parameter);
  }
  const std::vector<Index>& support() const { return support_; }
  Index local(Index parameter) const { return local_[static_cast<std::size_t>(parameter)]; }
  std::vector<Row>& rows() { return rows_; }
  std::vector<Block>& blocks() { return blocks_; }
  const std::vector<Row>& rows() const { return rows_; }
  /// Which of all rows it is.
  std::size_t number(const Row& row) const {
    return first_row_ + static_cast<std::size_t>(&row - rows_.data());
  }

 private:
  std::size_t first_row_ = 0;
  std::vector<Row> rows_;
  std::vector<Block> blocks_;
  std::vector<Index> support_, local_;
};

}  // namespace roundel::pattern::levels
