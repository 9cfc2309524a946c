// What became of the reports, by hour of feed time.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>

#include "roundel/feed/report.h"
#include "roundel/record/recorder.h"
#include "roundel/schema/rows.h"

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

  /// Since the last call.
  schema::Tally take();

  LiveCounts& live() noexcept { return live_; }

 private:
  std::array<std::int64_t, 2 + feed::reject_names.size()> current_{};
  LiveCounts live_;
};

}  // namespace roundel::record
