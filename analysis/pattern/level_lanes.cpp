#include "analysis/pattern/level_lanes.h"

#include "analysis/pattern/lane_math.h"
#include "roundel/wide.h"

namespace roundel::pattern::levels {
namespace {

// Lane by lane, then by halves: in the same order on every machine.
inline float sum_of(const Lanes& lanes) {
  std::array<float, 4> half{};
  for (std::size_t i = 0; i < 4; ++i) half[i] = lanes.at[i] + lanes.at[i + 4];
  return (half[0] + half[2]) + (half[1] + half[3]);
}

inline float largest_of(const Lanes& lanes) {
  std::array<float, 4> half{};
  for (std::size_t i = 0; i < 4; ++i) half[i] = greater(lanes.at[i], lanes.at[i + 4]);
  return greater(greater(half[0], half[2]), greater(half[1], half[3]));
}

}  // namespace

ROUNDEL_WIDE
void look_at_nodes(const RateShape& shape, const BlockPlace& place, const LaneGroups& shifts,
                   const RowAsked* rows, std::size_t n_rows, BlockLanes& at,
                   RowLanes* of_row) noexcept {
  // Beyond, a chance of one in 1e9 or less, a row says no more.
  constexpr float most_z = 9.4F;
  const NodePattern& pattern = *at.pattern;
  const float m = shape.messages_per_chance, per_softness = shape.per_softness;
  const float linear = shape.linear, cubic = shape.cubic, cubic_slope = 3 * shape.cubic;
  for (std::size_t g = 0; g < pattern.n_groups; ++g) {
    Lanes own, level, log_weight;
    for (std::size_t i = 0; i < lane_width; ++i) {
      const float shift = shifts[g].at[i];
      const float of_block =
          place.centre - place.follows * shift + place.width * pattern.own[g].at[i];
      own.at[i] = of_block;
      level.at[i] = of_block + shift;
      log_weight.at[i] = pattern.log_weight[g].at[i] - place.half_precision * of_block * of_block;
    }
    at.own[g] = own;
    at.level[g] = level;
    for (std::size_t r = 0; r < n_rows; ++r) {
      const RowAsked row = rows[r];
      const float chances = row.chances, heard = row.heard, pm = row.ceiling;
      const float missed_chances = chances - heard;
      RowLanes lanes;
      Lanes q, missed;
      for (std::size_t i = 0; i < lane_width; ++i) {
        const float free_z = (row.level_db + level.at[i]) * per_softness;
        const float z = lesser(greater(free_z, -most_z), most_z);
        // Odds against passing the threshold: p = pm / (1 + odds), 1 - p = (open + odds) / (1 +
        // odds).
        const float odds = exp_of(-z * (linear + cubic * z * z));
        const float share = 1 / (1 + odds);
        const float per_missed = 1 / (row.open + odds);
        // The slope of q by the level, over q (1 - q).
        const float slope = odds * per_missed * (linear + cubic_slope * z * z) * per_softness;
        lanes.z.at[i] = z;
        lanes.score.at[i] = free_z == z ? slope : 0.0F;
        q.at[i] = pm * share;
        missed.at[i] = (row.open + odds) * share;
      }
      if (m != 1) {
        for (std::size_t i = 0; i < lane_width; ++i) {
          // Of a rare message 1 - (1 - p)^m leaves few digits; its series keeps them.
          const float p = q.at[i], mean = m * p;
          const float all_missed = exp_of(greater(m * log_of(missed.at[i]), -80));
          q.at[i] = mean < 0.01F ? mean * (1 - 0.5F * (mean - p)) : 1 - all_missed;
          missed.at[i] = mean < 0.01F ? 1 - q.at[i] : all_missed;
          lanes.score.at[i] *= m * p / q.at[i];
        }
      }
      for (std::size_t i = 0; i < lane_width; ++i) {
        const float slope = lanes.score.at[i];
        lanes.score.at[i] = (heard - chances * q.at[i]) * slope;
        lanes.information.at[i] = chances * q.at[i] * missed.at[i] * slope * slope;
      }
      if (heard > 0)
        for (std::size_t i = 0; i < lane_width; ++i) log_weight.at[i] += heard * log_of(q.at[i]);
      if (missed_chances > 0)
        for (std::size_t i = 0; i < lane_width; ++i)
          log_weight.at[i] += missed_chances * log_of(missed.at[i]);
      of_row[r * pattern.n_groups + g] = lanes;
    }
    at.weight[g] = log_weight;
  }

  Lanes tops = at.weight[0];
  for (std::size_t g = 1; g < pattern.n_groups; ++g)
    for (std::size_t i = 0; i < lane_width; ++i)
      tops.at[i] = greater(tops.at[i], at.weight[g].at[i]);
  const float top = largest_of(tops);
  at.top = top;
  for (std::size_t g = 0; g < pattern.n_groups; ++g)
    for (std::size_t i = 0; i < lane_width; ++i)
      at.weight[g].at[i] = exp_of(greater(at.weight[g].at[i] - top, -60));
}

ROUNDEL_WIDE
RowSum over_nodes(const BlockLanes& at, const RowLanes* of_row) noexcept {
  Lanes score{}, information{}, score_z{}, information_z{}, information_zz{};
  for (std::size_t g = 0; g < at.pattern->n_groups; ++g) {
    const RowLanes& row = of_row[g];
    for (std::size_t i = 0; i < lane_width; ++i) {
      const float weight = at.weight[g].at[i], z = row.z.at[i];
      const float scored = weight * row.score.at[i], informed = weight * row.information.at[i];
      score.at[i] += scored;
      information.at[i] += informed;
      score_z.at[i] += scored * z;
      information_z.at[i] += informed * z;
      information_zz.at[i] += informed * z * z;
    }
  }
  return {sum_of(score), sum_of(information), sum_of(score_z), sum_of(information_z),
          sum_of(information_zz)};
}

}  // namespace roundel::pattern::levels
