// When the feed was listened to: what silence is evidence of, and what was recorded before.
#pragma once
#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

#include "daemon/record/trial_table.h"
#include "roundel/schema/rows.h"

namespace roundel::record {

struct Interval {
  double from_s{}, to_s{};
};

/// Feed time listened to in this run, in intervals between breaks, and feed time recorded in
/// earlier runs. Memory: intervals of the last 40 min, and at most 4096 older ones of this run
/// (beyond that the oldest are joined, the gap between them with them).
class Coverage {
 public:
  /// @param recorded  whole seconds recorded in earlier runs, in any order
  Coverage(schema::Id feed, std::span<const schema::Coverage> recorded);

  /// Whether this time lies in an earlier run, or in this one before a break.
  bool was_recorded(double time_s) const noexcept;

  /// Listening reaches until this report: from the one before, or anew after a break.
  void extend(double time_s);
  /// Silence from here to the next report says nothing. What lies behind is recorded.
  void interrupt();
  /// Nothing was listened to strictly between these times: two reports, or a report and now.
  void cut(double from_s, double to_s);

  /// Seconds of [from_s, to_s) listened to in this run and not recorded in an earlier one.
  /// @param resumed_until_s  earlier runs count, too, before this time
  double listened_s(double from_s, double to_s, double resumed_until_s) const noexcept;
  /// Whether that is so for all of it, in this run.
  bool is_listening(double from_s, double to_s) const noexcept;
  /// The end of what earlier runs recorded; 0: none.
  double recorded_until() const noexcept { return earlier_.empty() ? 0 : earlier_.back().to_s; }

  /// Rows that are new or changed since the last call: what was listened to while a trial ran,
  /// rounded outwards to whole seconds.
  std::vector<schema::Coverage> take_rows(std::span<const TrialSpan> trials);

 private:
  void bar(const Interval& listened);
  void open(double time_s);
  void touch(std::size_t i) { clean_ = std::min(clean_, i); }
  void append_rows(const Interval& listened, std::span<const TrialSpan> trials,
                   std::vector<schema::Coverage>& rows);

  schema::Id feed_;
  std::vector<Interval> earlier_;   // sorted, apart
  std::vector<Interval> barred_;    // earlier_ and this run's behind breaks; sorted, apart
  std::vector<Interval> listened_;  // this run's, sorted, apart
  std::size_t open_ = 0;            // the one that grows, if is_open_
  bool is_open_ = false;
  std::size_t clean_ = 0;     // listened_ before it have been given as they are
  double forgotten_until_s_;  // end of the last interval no longer in listened_
  // A time in it is known not to be barred: reports come in order, mostly.
  mutable Interval free_{};
};

}  // namespace roundel::record
