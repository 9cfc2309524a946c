#include "daemon/record/track.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "daemon/record/folding.h"
#include "roundel/site/sightline.h"

namespace roundel::record {
namespace {

// After so long a silence one fix alone could be anywhere within reach.
constexpr double reacquire_s = 30;
// Times are of arrival, or whole seconds, in many feeds; positions have some noise.
constexpr double time_slack_s = 2;
constexpr double place_slack_km = 0.5;
constexpr double resumed_slack_s = 10;
constexpr int to_continue = 2;  // fixes that agree, the one judged among them
constexpr int to_begin_anew = 3;

double reach(double seconds, double slack_s, const Rules& rules) {
  const double km_per_s = rules.max_speed_kn * site::km_per_nautical_mile / 3600;
  return place_slack_km + km_per_s * (std::abs(seconds) + time_slack_s + slack_s);
}

bool agree(const Fix& a, const Fix& b, const Rules& rules) {
  return site::are_within(a.place, b.place, reach(a.time_s - b.time_s, 0, rules));
}

}  // namespace

double Track::reach_km(double seconds, const Rules& rules) const noexcept {
  return reach(seconds, known_slack_s_, rules);
}

bool Track::is_reachable(const Fix& fix, const Rules& rules) const noexcept {
  return site::are_within(known_, fix.place, reach_km(fix.time_s - known_time_s_, rules));
}

void Track::know(const Fix& fix, bool is_unambiguous) noexcept {
  is_anchored_ = is_anchored_ || is_unambiguous;
  if (has_known_ && fix.time_s < known_time_s_) return;
  known_ = fix.place;
  known_time_s_ = fix.time_s;
  known_slack_s_ = 0;
  has_known_ = true;
}

void Track::resume(const site::Place& place, double time_s) noexcept {
  known_ = place;
  known_time_s_ = time_s;
  known_slack_s_ = resumed_slack_s;
  has_known_ = true;
}

void Track::hold(const Fix& fix) noexcept {
  assert(!is_full());
  held_[n_held_++] = fix;
}

Fix Track::take_oldest() noexcept {
  assert(n_held_ > 0);
  const Fix oldest = held_[0];
  std::copy(held_.begin() + 1, held_.begin() + static_cast<std::ptrdiff_t>(n_held_), held_.begin());
  --n_held_;
  return oldest;
}

void Track::settle(const Rules& rules) noexcept {
  agreeing_ = 0;
  std::size_t n_possible = 0, possible = 0;
  for (std::size_t i = 0; i < n_held_; ++i) {
    if (has_known_ && !is_reachable(held_[i], rules)) continue;
    ++n_possible;
    possible = i;
  }
  if (n_possible != 1) return;
  agreeing_ = static_cast<std::uint8_t>(1U << possible);
  know(held_[possible], false);
}

Track::Verdict Track::judge(const Fix& fix, const Rules& rules, bool is_unambiguous) noexcept {
  const bool continues = has_known_ && is_reachable(fix, rules);
  const bool is_tracked =
      continues && known_slack_s_ == 0 && std::abs(fix.time_s - known_time_s_) <= reacquire_s;
  if (is_tracked && n_held_ == 0) {
    know(fix, is_unambiguous);
    return Verdict::believe;
  }
  agreeing_ = 0;
  int n_agreeing = 1;
  for (std::size_t i = 0; i < n_held_; ++i) {
    if (!agree(held_[i], fix, rules)) continue;
    agreeing_ = static_cast<std::uint8_t>(agreeing_ | 1U << i);
    ++n_agreeing;
  }
  if (is_tracked) n_agreeing = to_begin_anew;
  const bool begins_anew = has_known_ && !continues;
  if (begins_anew) {
    const auto unfolded = unfold(fix.place, known_, reach_km(fix.time_s - known_time_s_, rules));
    // Where every fix of the track so far may itself have been folded (an aircraft first heard far
    // out), one that can't be shows that they were.
    if (unfolded && (is_anchored_ || !is_unambiguous)) {
      Fix true_fix = fix;
      true_fix.place = *unfolded;
      know(true_fix, false);
      return Verdict::folded;
    }
  }
  if (n_agreeing < (begins_anew ? to_begin_anew : to_continue)) return Verdict::hold;
  if (begins_anew) has_known_ = is_anchored_ = false;
  for (std::size_t i = 0; i < n_held_; ++i) {
    if (agrees(i)) know(held_[i], false);
  }
  know(fix, is_unambiguous);
  return begins_anew ? Verdict::new_track : Verdict::believe_held;
}

}  // namespace roundel::record
