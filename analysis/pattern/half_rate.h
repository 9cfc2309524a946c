// The heard share of chances by range, and where it falls to one half.
#pragma once
#include <cstdint>
#include <optional>
#include <vector>

#include "roundel/pattern/reach.h"

namespace roundel::pattern {

/// Counts by sector, 10 km of range and group of flights.
class RateByRange {
 public:
  static constexpr double bin_km = 10;
  static constexpr int n_bins = 80;
  /// Flights are dealt to groups in turn; groups are resampled instead of flights, so that memory
  /// and time do not grow with flights. 32 give the interval's ends within a tenth of its width.
  static constexpr int n_groups = 32;

  explicit RateByRange(int n_sectors);
  /// Where a cell is counted; none past the last bin.
  std::optional<std::uint32_t> place(int sector, double range_km,
                                     std::int64_t flight_ordinal) const {
    const int bin = static_cast<int>(range_km / bin_km);
    if (bin >= n_bins) return std::nullopt;
    const auto group = static_cast<std::uint32_t>(flight_ordinal % n_groups);
    return (static_cast<std::uint32_t>(sector) * n_groups + group) * n_bins +
           static_cast<std::uint32_t>(bin);
  }
  void add(std::uint32_t place, int heard, int expected) {
    counts_[place].heard += static_cast<std::uint32_t>(heard);
    counts_[place].expected += static_cast<std::uint32_t>(expected);
  }
  /// Without `flights`, which the caller knows. None where the share doesn't cross one half.
  std::optional<HalfRate> half_rate(int sector, bool with_interval = true) const;

 private:
  struct Count {
    std::uint32_t heard, expected;
  };
  std::vector<Count> counts_;  ///< [sector][group][bin]
};

}  // namespace roundel::pattern
