// Which trial a moment of feed time belongs to.
#pragma once
#include <span>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::record {

/// A stretch of feed time that belongs to one trial; half-open, [from_s, to_s).
struct TrialSpan {
  double from_s{}, to_s{};
  schema::Id trial{};
};

class TrialTable {
 public:
  /// @param now_s  newest feed time recorded; none: -infinity. What was mounted until then stays:
  ///               a change becomes known some seconds after it was made, and the cells of those
  ///               seconds are already in the flights of the trial before.
  void set(std::span<const schema::Trial> trials, double now_s);

  /// The trial at that time, or nullptr. The pointer is good until set().
  const TrialSpan* find(double time_s) const noexcept;
  /// By start, without overlap.
  std::span<const TrialSpan> spans() const noexcept { return spans_; }

 private:
  std::vector<TrialSpan> spans_;
  mutable std::size_t latest_ = 0;
};

}  // namespace roundel::record
