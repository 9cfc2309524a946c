#include "daemon/record/coverage.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

namespace roundel::record {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double memory_s = 2400;  // the longest gap that is filled, and then some
constexpr std::size_t max_intervals = 4096;

double overlap_s(const Interval& a, double from_s, double to_s) {
  return std::max(0.0, std::min(a.to_s, to_s) - std::max(a.from_s, from_s));
}

// Seconds of [from_s, to_s) in the intervals.
double measure_s(const std::vector<Interval>& intervals, double from_s, double to_s) {
  auto it = std::ranges::upper_bound(intervals, from_s, {}, &Interval::to_s);
  double sum_s = 0;
  for (; it != intervals.end() && it->from_s < to_s; ++it) sum_s += overlap_s(*it, from_s, to_s);
  return sum_s;
}

// Adds an interval; joins those it touches.
void unite(std::vector<Interval>& intervals, Interval added) {
  auto first = std::ranges::lower_bound(intervals, added.from_s, {}, &Interval::to_s);
  auto last = first;
  for (; last != intervals.end() && last->from_s <= added.to_s; ++last) {
    added.from_s = std::min(added.from_s, last->from_s);
    added.to_s = std::max(added.to_s, last->to_s);
  }
  if (first == last) {
    intervals.insert(first, added);
  } else {
    *first = added;
    intervals.erase(first + 1, last);
  }
}

}  // namespace

Coverage::Coverage(schema::Id feed, std::span<const schema::Coverage> recorded)
    : feed_(feed), forgotten_until_s_(-infinity) {
  for (const schema::Coverage& row : recorded) {
    earlier_.push_back({static_cast<double>(row.from_s), static_cast<double>(row.to_s)});
  }
  std::ranges::sort(earlier_, {}, &Interval::from_s);
  std::vector<Interval> apart;
  for (const Interval& interval : earlier_) {
    if (interval.from_s >= interval.to_s) continue;
    if (!apart.empty() && interval.from_s <= apart.back().to_s) {
      apart.back().to_s = std::max(apart.back().to_s, interval.to_s);
    } else {
      apart.push_back(interval);
    }
  }
  earlier_ = std::move(apart);
  barred_ = earlier_;
}

bool Coverage::was_recorded(double time_s) const noexcept {
  if (time_s >= free_.from_s && time_s < free_.to_s) return false;
  const auto next = std::ranges::upper_bound(barred_, time_s, {}, &Interval::to_s);
  if (next != barred_.end() && next->from_s <= time_s) return true;
  free_ = {next == barred_.begin() ? -infinity : (next - 1)->to_s,
           next == barred_.end() ? infinity : next->from_s};
  return false;
}

void Coverage::bar(const Interval& listened) {
  unite(barred_, listened);
  if (barred_.size() > max_intervals + earlier_.size()) {
    barred_[1].from_s = barred_[0].from_s;
    barred_.erase(barred_.begin());
  }
  free_ = {};
}

void Coverage::open(double time_s) {
  const auto at = std::ranges::upper_bound(listened_, time_s, {}, &Interval::from_s);
  open_ = static_cast<std::size_t>(at - listened_.begin());
  listened_.insert(at, {time_s, time_s});
  touch(open_);
  is_open_ = true;
}

void Coverage::extend(double time_s) {
  if (!is_open_) return open(time_s);
  Interval& current = listened_[open_];
  if (time_s > current.to_s) {
    touch(open_);
    const bool runs_on = open_ + 1 == listened_.size() || time_s < listened_[open_ + 1].from_s;
    if (runs_on) {
      current.to_s = time_s;
      return;
    }
    // Past what was listened to before the clock was set back.
    current.to_s = listened_[open_ + 1].from_s;
    bar(current);
    open(time_s);
    if (open_ > 0) listened_[open_].from_s = listened_[open_ - 1].to_s;
  } else if (time_s < current.from_s && (open_ == 0 || time_s > listened_[open_ - 1].to_s)) {
    current.from_s = time_s;  // out of order just after a break
    touch(open_);
  }
}

void Coverage::interrupt() {
  if (!is_open_) return;
  is_open_ = false;
  // A report at the very time of the last one is most likely that one again.
  const Interval& last = listened_[open_];
  bar({last.from_s, std::nextafter(last.to_s, infinity)});
}

void Coverage::cut(double from_s, double to_s) {
  assert(from_s <= to_s);
  const auto it = std::ranges::upper_bound(listened_, from_s, {}, &Interval::to_s);
  if (it == listened_.end() || it->from_s > from_s || it->to_s < to_s) return;
  const auto i = static_cast<std::size_t>(it - listened_.begin());
  if (it->from_s == from_s) {  // next to what was cut before
    it->from_s = to_s;
    return touch(i);
  }
  const Interval rest{to_s, it->to_s};
  it->to_s = from_s;
  bar(*it);
  listened_.insert(it + 1, rest);
  if (is_open_ && i <= open_) ++open_;
  touch(i);
}

double Coverage::listened_s(double from_s, double to_s, double resumed_until_s) const noexcept {
  auto it = std::ranges::upper_bound(listened_, from_s, {}, &Interval::to_s);
  double sum_s = 0;
  for (; it != listened_.end() && it->from_s < to_s; ++it) {
    const double begin_s = std::max(it->from_s, from_s), end_s = std::min(it->to_s, to_s);
    if (begin_s < end_s) sum_s += end_s - begin_s - measure_s(earlier_, begin_s, end_s);
  }
  if (from_s < resumed_until_s)
    sum_s += measure_s(earlier_, from_s, std::min(to_s, resumed_until_s));
  return sum_s;
}

bool Coverage::is_listening(double from_s, double to_s) const noexcept {
  const auto it = std::ranges::upper_bound(listened_, from_s, {}, &Interval::to_s);
  return it != listened_.end() && it->from_s <= from_s && it->to_s >= to_s;
}

void Coverage::append_rows(const Interval& listened, std::span<const TrialSpan> trials,
                           std::vector<schema::Coverage>& rows) {
  const double end_s = std::floor(listened.to_s) + 1;
  const auto append = [&](double from_s, double to_s) {
    // Intervals apart by less than a second share one: it belongs to the first.
    if (!rows.empty()) from_s = std::max(from_s, static_cast<double>(rows.back().to_s));
    if (listened.from_s >= forgotten_until_s_ && from_s < std::floor(forgotten_until_s_) + 1) {
      from_s = std::floor(forgotten_until_s_) + 1;
    }
    if (from_s >= to_s) return;
    rows.push_back({feed_, static_cast<std::int64_t>(from_s), static_cast<std::int64_t>(to_s)});
  };
  for (const TrialSpan& trial : trials) {
    double from_s = std::max(std::floor(listened.from_s), trial.from_s);
    const double to_s = std::min(end_s, trial.to_s);
    for (auto it = std::ranges::upper_bound(earlier_, from_s, {}, &Interval::to_s);
         it != earlier_.end() && it->from_s < to_s; ++it) {
      if (it->from_s > from_s) append(from_s, it->from_s);
      from_s = std::max(from_s, it->to_s);
    }
    if (from_s < to_s) append(from_s, to_s);
  }
}

std::vector<schema::Coverage> Coverage::take_rows(std::span<const TrialSpan> trials) {
  // The rows before the changed ones are made again, as their ends decide where those begin.
  std::vector<schema::Coverage> rows;
  std::size_t n_clean = 0;
  for (std::size_t i = 0; i < listened_.size(); ++i) {
    if (i == clean_) n_clean = rows.size();
    append_rows(listened_[i], trials, rows);
  }
  if (clean_ >= listened_.size()) n_clean = rows.size();
  rows.erase(rows.begin(), rows.begin() + static_cast<std::ptrdiff_t>(n_clean));
  clean_ = listened_.size();
  // Forget what is older than the longest gap that is filled.
  std::size_t n_old = 0;
  while (is_open_ && n_old < open_ && listened_[n_old].to_s < listened_[open_].to_s - memory_s) {
    forgotten_until_s_ = listened_[n_old++].to_s;
  }
  listened_.erase(listened_.begin(), listened_.begin() + static_cast<std::ptrdiff_t>(n_old));
  clean_ -= n_old;
  open_ -= std::min(open_, n_old);
  return rows;
}

}  // namespace roundel::record
