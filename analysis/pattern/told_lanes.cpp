#include "analysis/pattern/told_lanes.h"

#include "analysis/pattern/lane_math.h"
#include "roundel/wide.h"

namespace roundel::pattern::levels {

ROUNDEL_WIDE
Told told(std::span<const CountLanes> counts, float level_db, float softness_db,
          float messages_per_chance) noexcept {
  constexpr float most_z = 20, least_share = 1e-6F;
  const float m = messages_per_chance, per_softness = 1 / softness_db;
  Lanes score{}, information{};
  for (const CountLanes& some : counts) {
    Lanes p, missed, slope;
    for (std::size_t i = 0; i < lane_width; ++i) {
      const float free_z = (some.level_db.at[i] + level_db) * per_softness;
      const float z = lesser(greater(free_z, -most_z), most_z);
      const float share = 1 / (1 + exp_of(-z));
      p.at[i] = some.ceiling.at[i] * share;
      slope.at[i] = p.at[i] * (1 - share) * per_softness;
      missed.at[i] = 1;
    }
    if (m != 1)
      for (std::size_t i = 0; i < lane_width; ++i)
        missed.at[i] = exp_of((m - 1) * log_of(greater(1 - p.at[i], least_share)));
    for (std::size_t i = 0; i < lane_width; ++i) {
      const float of_all = m == 1 ? p.at[i] : 1 - missed.at[i] * (1 - p.at[i]);
      const float q = lesser(greater(of_all, least_share), 1 - least_share);
      const float n = some.chances.at[i] / m, heard = lesser(some.heard.at[i], n);
      const float of_q = m * missed.at[i] * slope.at[i];
      const float per_variance = of_q / (q * (1 - q));
      score.at[i] += (heard - n * q) * per_variance;
      information.at[i] += n * of_q * per_variance;
    }
  }
  Told out;
  for (std::size_t i = 0; i < lane_width; ++i) {
    out.score += static_cast<double>(score.at[i]);
    out.information += static_cast<double>(information.at[i]);
  }
  return out;
}

}  // namespace roundel::pattern::levels
