// When anything at all came on the feed: tells an empty sky from a dead feed.
#pragma once
#include <array>
#include <cstdint>

#include "daemon/record/coverage.h"
#include "daemon/record/flight_log.h"

namespace roundel::record {

/// Lines of every kind, by window, for the windows not yet judged.
class FeedActivity {
 public:
  void heard(std::int64_t window, double time_s) noexcept;

  /// Windows are judged from the next one on.
  void begin_after(std::int64_t window) noexcept { judged_ = window; }
  /// Judges the silence of a window that no line can come into any more: where flights lately
  /// heard would have brought ten reports or more, and no line of any kind came, the feed was dead
  /// from the line before to the line after, and that is cut out of the coverage. Windows are
  /// judged in order; one already judged is left as it is.
  void judge(std::int64_t window, const FlightLog& flights, Coverage& coverage);

 private:
  struct Window {
    std::int64_t window = -1;
    double first_s{}, last_s{};
  };
  Window& slot(std::int64_t window) noexcept {
    return windows_[static_cast<std::size_t>(window) % windows_.size()];
  }
  /// What came in that window; nullptr: nothing.
  const Window* in(std::int64_t window) noexcept {
    const Window& at = slot(window);
    return at.window == window ? &at : nullptr;
  }

  std::array<Window, 32> windows_{};
  std::int64_t judged_ = INT64_MIN;
  double last_line_s_{};  // in the windows judged
  bool is_silent_ = false, is_dead_ = false;
};

}  // namespace roundel::record
