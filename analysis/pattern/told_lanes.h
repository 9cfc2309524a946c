// What many counts say of one level that they share, eight at a time.
#pragma once
#include <array>
#include <span>

#include "analysis/pattern/level_lanes.h"
#include "roundel/pattern/threshold.h"

namespace roundel::pattern::levels {

/// Eight counts; where there are fewer, the others have no chances.
struct CountLanes {
  Lanes level_db{}, ceiling{}, heard{}, chances{};  ///< level_db: but for what they share
};

/// The sum of told() over the counts, by the logistic threshold, each level `level_db` higher. In
/// single precision: within 1e-5 of it.
Told told(std::span<const CountLanes> counts, float level_db, float softness_db,
          float messages_per_chance) noexcept;

}  // namespace roundel::pattern::levels
