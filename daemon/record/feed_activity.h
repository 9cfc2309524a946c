// When anything at all came on the feed: tells an empty sky from a dead feed.
#pragma once
#include <array>
#include <cstdint>

namespace roundel::record {

/// Lines of every kind, by window, for the windows not yet judged.
class FeedActivity {
 public:
  struct Window {
    std::int64_t window = -1;
    std::int64_t n_lines{};
    double first_s{}, last_s{};
  };

  void heard(std::int64_t window, double time_s, std::int64_t n_lines = 1) noexcept {
    Window& at = slot(window);
    if (at.window != window) at = {window, 0, time_s, time_s};
    at.n_lines += n_lines;
    if (time_s < at.first_s) at.first_s = time_s;
    if (time_s > at.last_s) at.last_s = time_s;
  }
  /// What came in that window; nullptr: nothing.
  const Window* in(std::int64_t window) const noexcept {
    const Window& at = windows_[static_cast<std::size_t>(window) % windows_.size()];
    return at.window == window ? &at : nullptr;
  }

 private:
  Window& slot(std::int64_t window) noexcept {
    return windows_[static_cast<std::size_t>(window) % windows_.size()];
  }
  std::array<Window, 32> windows_{};
};

}  // namespace roundel::record
