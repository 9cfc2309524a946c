#include "daemon/record/feed_clock.h"

#include <algorithm>

namespace roundel::record {
namespace {

// Common practice, no source: small enough that a leap costs little, large enough that garbled
// times of single lines never make one.
constexpr std::size_t reports_to_leap = 3;
constexpr double span_to_leap_s = 1;
constexpr std::size_t reports_to_go_back = 20;
constexpr double span_to_go_back_s = 10;
constexpr std::size_t late_reports_to_go_back = 50;
constexpr double late_span_to_go_back_s = 15;
// A report this far ahead of the others is believed, but moves the clock only with a second one.
constexpr double lone_lead_s = 5;
constexpr int reports_to_forget_lead = 3;

}  // namespace

void FeedClock::Chain::add(double time_s, const Rules& rules) noexcept {
  const bool is_next =
      length > 0 && time_s >= newest_s - rules.stale_s && time_s <= newest_s + rules.flight_break_s;
  if (!is_next) {
    *this = {1, time_s, time_s};
    return;
  }
  ++length;
  oldest_s = std::min(oldest_s, time_s);
  newest_s = std::max(newest_s, time_s);
}

void FeedClock::start(double time_s) noexcept {
  is_running_ = true;
  now_s_ = newest_s_ = time_s;
  below_newest_ = 0;
  ahead_ = behind_ = {};
}

void FeedClock::follow(double time_s) noexcept {
  if (!is_running_ || time_s > newest_s_) start(time_s);
}

void FeedClock::advance(double time_s) noexcept {
  if (time_s >= newest_s_) {
    now_s_ = time_s - newest_s_ <= lone_lead_s ? time_s : newest_s_;
    newest_s_ = time_s;
    below_newest_ = 0;
    return;
  }
  if (time_s >= newest_s_ - lone_lead_s) {
    now_s_ = newest_s_;
    return;
  }
  now_s_ = std::max(now_s_, time_s);
  if (newest_s_ > now_s_ && ++below_newest_ >= reports_to_forget_lead) {
    newest_s_ = now_s_;
    below_newest_ = 0;
  }
}

FeedClock::Verdict FeedClock::follow_back(double time_s) noexcept {
  start(time_s);
  return Verdict::set_back;
}

FeedClock::Verdict FeedClock::judge(double time_s) noexcept {
  if (!is_running_ || time_s > newest_s_ + rules_.leap_s) {
    ahead_.add(time_s, rules_);
    // A clock that runs is given up for another only if that one is seen to run as well.
    const double span_s = is_running_ ? span_to_leap_s : 0;
    if (ahead_.length < reports_to_leap || ahead_.span_s() <= 0 || ahead_.span_s() < span_s) {
      return Verdict::hold;
    }
    return Verdict::leap;
  }
  if (time_s < now_s_ - rules_.stale_s) {
    behind_.add(time_s, rules_);
    const bool goes_back =
        behind_.length >= reports_to_go_back && behind_.span_s() >= span_to_go_back_s;
    return goes_back ? follow_back(behind_.newest_s) : Verdict::stale;
  }
  ahead_ = {};
  if (time_s >= now_s_ - rules_.out_of_order_s) {
    behind_ = {};
  } else {
    behind_.add(time_s, rules_);
    if (behind_.length >= late_reports_to_go_back && behind_.span_s() >= late_span_to_go_back_s) {
      return follow_back(behind_.newest_s);
    }
  }
  advance(time_s);
  return Verdict::accept;
}

}  // namespace roundel::record
