// What became of the reports, by hour of feed time.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <map>

#include "roundel/feed/report.h"
#include "roundel/record/recorder.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"

namespace roundel::record {

/// Counts each report under exactly one kind, so that received = stored + repeat + rejects.
class Counts {
 public:
  void stored() noexcept { ++current_[0], ++live_.stored, ++live_.received; }
  void repeat() noexcept { ++current_[1], ++live_.repeats, ++live_.received; }
  void reject(feed::Reject reason, std::int64_t n = 1) noexcept {
    current_[2 + static_cast<std::size_t>(reason)] += n;
    live_.rejected += n;
    live_.received += n;
  }
  /// What is counted from here on belongs to the hour of this time.
  void set_time(double time_s) {
    if (time_s < hour_s_ || time_s >= hour_s_ + 3600) change_hour(time_s);
  }

  /// Moves what was counted since the last call to the batch.
  void take(schema::Batch& batch);

  LiveCounts& live() noexcept { return live_; }

 private:
  void change_hour(double time_s);
  schema::Tally take_current();

  std::array<std::int64_t, 2 + feed::reject_names.size()> current_{};
  double hour_s_ = 0;
  std::map<std::int64_t, schema::Tally> earlier_;
  LiveCounts live_;
};

}  // namespace roundel::record
