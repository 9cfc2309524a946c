// Points in time at which a mean steps.
#pragma once
#include <cstdint>
#include <vector>

namespace roundel::trial {

/// What one flight says: its level against the model.
struct Unit {
  std::int64_t time_s{};
  double value{}, weight{};
};

struct ChangePoint {
  std::size_t at{};                  ///< first unit after it
  std::size_t earliest{}, latest{};  ///< where the statistic is within 6 of its maximum
  double p = 1;                      ///< chance of as large a step in a steady record
};

/// Largest standardised CUSUM over units in order of time, against its distribution in a steady
/// record: the same units with their time cut into pieces of 3 h (shorter ones in short records)
/// and the pieces put in 2000 seeded orders; from five days on, each among those of its time of
/// day, as what is heard has a daily course. A permutation test: nothing is assumed of how units
/// are distributed, nor that those of one piece are independent. Repeated on both sides of each
/// point found (binary segmentation).
/// @param tests  that share one false-alarm chance of 1 % (Bonferroni)
/// @return by time; at most 9
std::vector<ChangePoint> change_points(const std::vector<Unit>& units, int tests);

struct UnitMean {
  double value{}, variance{};
  int n{};
};
/// Weighted mean of units [begin, end), with an error from their scatter.
UnitMean mean_of(const std::vector<Unit>& units, std::size_t begin, std::size_t end);

}  // namespace roundel::trial
