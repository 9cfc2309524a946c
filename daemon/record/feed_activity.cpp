#include "daemon/record/feed_activity.h"

#include <algorithm>

namespace roundel::record {
namespace {

// So many reports missing by chance: e^-10.
constexpr double least_expected = 10;

}  // namespace

void FeedActivity::heard(std::int64_t window, double time_s) noexcept {
  Window& at = slot(window);
  if (at.window != window) at = {window, time_s, time_s};
  at.first_s = std::min(at.first_s, time_s);
  at.last_s = std::max(at.last_s, time_s);
}

void FeedActivity::judge(std::int64_t window, const FlightLog& flights, Coverage& coverage) {
  if (window <= judged_) return;
  judged_ = window;
  if (const Window* lines = in(window)) {
    is_silent_ = is_dead_ = false;
    last_line_s_ = lines->last_s;
    return;
  }
  const auto from_s = static_cast<double>(window * schema::window_s);
  const double to_s = from_s + schema::window_s;
  if (!coverage.is_listening(from_s, to_s)) {
    is_silent_ = is_dead_ = false;
    return;
  }
  if (!is_silent_) is_dead_ = flights.expected_reports(window - 1) >= least_expected;
  const double begin_s =
      is_silent_ ? from_s : std::clamp(last_line_s_, from_s - schema::window_s, from_s);
  is_silent_ = true;
  if (!is_dead_) return;
  const Window* next = in(window + 1);
  coverage.cut(begin_s, next != nullptr ? next->first_s : to_s);
}

}  // namespace roundel::record
