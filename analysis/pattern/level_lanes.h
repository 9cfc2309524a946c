// Rows of a rate at the nodes of the quadrature, eight at a time. For fit_levels() and comparisons.
#pragma once
#include <array>
#include <cstddef>

namespace roundel::pattern::levels {

/// Values at eight nodes: plain arrays of fixed length, so that the compiler goes through them by
/// four or eight. In single precision, which half as many registers hold.
constexpr std::size_t lane_width = 8, most_groups = 4;
struct alignas(32) Lanes {
  std::array<float, lane_width> at;
};

/// A block's nodes, in groups of eight: those of its own level for each of its flight's, one after
/// the other.
using LaneGroups = std::array<Lanes, most_groups>;
inline float& lane(LaneGroups& groups, std::size_t i) {
  return groups[i / lane_width].at[i % lane_width];
}
inline float lane(const LaneGroups& groups, std::size_t i) {
  return groups[i / lane_width].at[i % lane_width];
}

/// Which nodes stand in which lane.
struct NodePattern {
  std::size_t n_own{}, n_groups{};  ///< nodes of a block's own level; groups of lanes
  LaneGroups own{}, log_weight{};   ///< own: in widths; log(weight exp(t^2))
};

/// What all rows share.
struct RateShape {
  float linear, cubic;  ///< of the threshold's log odds
  float per_softness;
  float messages_per_chance;
};

/// A row as it was heard, and its level where its block's own is nought.
struct RowAsked {
  float chances, heard, ceiling, open, level_db;  ///< open: 1 - ceiling
};

/// What a row says at eight nodes.
struct RowLanes {
  Lanes score, information, z;  ///< of its level; z: level over softness
};

/// A block's levels, where its own has some posterior mean and width, and the weight of each node.
struct BlockLanes {
  const NodePattern* pattern{};
  LaneGroups own, level, weight;  ///< level: own and the flight's shift
  std::array<float, 5> total{};   ///< of weights, by the flight's nodes
  float top{};                    ///< the log of what weights are taken by
};

/// Where to look at a block.
struct BlockPlace {
  float centre, follows, width;  ///< of its own level; what it takes back of the flight's shift
  float half_precision;          ///< half of its prior's
};

/// Fills `at` and `of_row`, n_groups for each row.
/// @param shifts  the flight's, by lane
/// A log likelihood of thousands is off by 1e-4; a row's score by some 1e-6 of its chances.
void look_at_nodes(const RateShape& shape, const BlockPlace& place, const LaneGroups& shifts,
                   const RowAsked* rows, std::size_t n_rows, BlockLanes& at,
                   RowLanes* of_row) noexcept;

/// What a row says over all nodes, by their weights. With z in its name: times z.
struct RowSum {
  float score, information, score_z, information_z, information_zz;
};
RowSum over_nodes(const BlockLanes& at, const RowLanes* of_row) noexcept;

}  // namespace roundel::pattern::levels
