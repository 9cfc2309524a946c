// The antenna's pattern from an exposure: by rate (counts alone) and by strength (levels).
#pragma once
#include <optional>
#include <vector>

#include "roundel/pattern/circle.h"
#include "roundel/pattern/exposure.h"
#include "roundel/pattern/level_model.h"

namespace roundel::pattern {

/// Squitters that share one chance in a feed that thins its lines: 1 for a feed that prints all.
struct Throttle {
  double messages_per_chance = 1;
  double share_at_limit{};  ///< share of near, whole cells that sit at the limit
  std::int64_t cells{};     ///< near, whole cells looked at
  bool is_throttled() const { return messages_per_chance > 1; }
};
/// From near, strong aircraft: where the count saturates. Needs 50 near cells, else unthrottled.
Throttle find_throttle(const Exposure& exposure);

/// Which groups an estimate may not use, besides its own rules. Empty members screen nothing.
struct Screen {
  std::vector<std::optional<double>> cutoff_deg;  ///< by sector: groups below it + margin_deg
  double margin_deg = 0.6;      ///< what is left of the edge's loss above it is estimated
  std::vector<bool> hours_out;  ///< by Exposure::hours: receiver off, ducting
  bool has_walls() const;       ///< any cut-off
};

/// Cells that tell a level: nearer than this share of the 4/3-Earth horizon, where what is beyond
/// it weakens nothing yet, and not so high that the antenna's own elevation pattern decides.
inline constexpr double level_horizon = 0.92;
inline constexpr double level_lowest_deg = 0.5, level_highest_deg = 12;
inline bool tells_level(double elevation_deg, double horizon_ratio) {
  return horizon_ratio <= level_horizon && elevation_deg >= level_lowest_deg &&
         elevation_deg <= level_highest_deg;
}
/// The same of a group, which must be measured and have had chances.
inline bool tells_level(const Group& group) {
  return group.kind == GroupKind::recorded && group.chances > 0 &&
         tells_level(double{group.elevation_deg}, double{group.horizon_ratio});
}

/// Neighbours whose path loss and aspect (its cosine) differ by less say the same of a level,
/// within what fading leaves to see.
inline constexpr float alike_db = 0.75F, alike_aspect = 0.2F, alike_deg = 0.3F;

/// A verdict on more flights than these looks for walls with a part of them, and a fit of them
/// starts from a larger part.
inline constexpr unsigned many_flights = 1500;

/// What the decibel scale may be off by besides its own error (LevelFit::softness_se_db): fading
/// that lasts for some cells of a block is none of the model's, and makes blocks seem to differ by
/// more than they do. Standard deviation, set on simulated worlds.
inline constexpr double scale_error = 0.07;

/// Where a fit of a rate begins, and what it holds.
struct RateFit {
  /// The fit of a part of the same exposure; null: where a part of the flights leads, if that is
  /// less than half of what is fitted.
  const LevelFit* start = nullptr;
  std::optional<double> softness_db;  ///< held there; none: estimated
};

/// Method section 4. Cells that tell a level, above the cut-off; where an aircraft circles within a
/// sector, none of it there.
LevelFit fit_rate(const Exposure& exposure, const Throttle& throttle, const Screen& screen,
                  const RateFit& how = {});

/// Where a fit of many flights starts from: estimates of a part of them, within a tenth of a
/// decibel of fit_rate()'s, without errors.
LevelFit start_rate(const Exposure& part, const Throttle& throttle, const Screen& screen);

/// The same of a fit that took walls for weakness, for one that goes without what they hide: behind
/// a wall the gain goes on between those on either side. None where hardly any bearing is open.
std::optional<LevelFit> beyond_walls(LevelFit start, const Screen& screen);

/// Method section 5. Needs the rate fit to tell which cells are heard so well that the threshold
/// does not cut the weak ones away (expected share above 85 % of the ceiling). Empty fit where the
/// feed carries no levels.
LevelFit fit_strength(const Exposure& exposure, const LevelFit& rate, const Screen& screen);

/// Slope of measured level on expected level over the well-heard rows, 1 where the scale is true;
/// well below 1 the receiver's level scale is compressed or clipped near in.
double level_slope(const Exposure& exposure, const LevelFit& strength, const Screen& screen);

/// Whether enough independent flights inform a sector, and its error is small enough to mean much.
bool is_known_sector(const LevelFit& fit, Eigen::Index sector);

/// Rate and strength as one, and whether they agree.
struct Combined {
  Eigen::VectorXd gain_db;         ///< by sector
  Eigen::MatrixXd covariance;      ///< without the decibel scale's own error
  Eigen::VectorXd scale_shift_db;  ///< what that error, once, moves gains by
  std::vector<bool> known;         ///< enough independent flights in rate or strength
  std::vector<bool> rate_known, strength_known;
  bool strength_used = false;
  double conflict_p = 1;   ///< of the difference in orders 1 to 4 if both measured one pattern
  double difference_db{};  ///< root mean square difference over bearings, less noise
};
Combined combine(const LevelFit& rate, const LevelFit& strength);

}  // namespace roundel::pattern
