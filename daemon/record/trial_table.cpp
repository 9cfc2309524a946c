#include "daemon/record/trial_table.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace roundel::record {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
// Windows older than this are closed: nothing in them can be recorded any more.
constexpr double memory_s = 300;

void append(std::vector<TrialSpan>& spans, TrialSpan span, double from_s, double to_s) {
  span.from_s = std::max(span.from_s, from_s);
  span.to_s = std::min(span.to_s, to_s);
  if (span.from_s >= span.to_s) return;
  if (!spans.empty() && spans.back().trial == span.trial && spans.back().to_s == span.from_s) {
    spans.back().to_s = span.to_s;
  } else {
    spans.push_back(span);
  }
}

}  // namespace

void TrialTable::set(std::span<const schema::Trial> trials, double now_s) {
  std::vector<TrialSpan> given;
  for (const schema::Trial& trial : trials) {
    given.push_back({static_cast<double>(trial.start_s),
                     trial.stop_s ? static_cast<double>(*trial.stop_s) : infinity, trial.id});
  }
  std::ranges::sort(given, {}, &TrialSpan::from_s);
  for (std::size_t i = 0; i + 1 < given.size(); ++i) {
    given[i].to_s = std::min(given[i].to_s, given[i + 1].from_s);
  }
  // Up to the second after now, as spans begin and end with whole seconds.
  const double known_s = std::floor(now_s) + 1;
  std::vector<TrialSpan> spans;
  for (const TrialSpan& span : given) append(spans, span, -infinity, known_s - memory_s);
  for (const TrialSpan& span : spans_) append(spans, span, known_s - memory_s, known_s);
  for (const TrialSpan& span : given) append(spans, span, known_s, infinity);
  spans_ = std::move(spans);
  latest_ = 0;
}

const TrialSpan* TrialTable::find(double time_s) const noexcept {
  const auto holds = [&](std::size_t i) {
    return spans_[i].from_s <= time_s && time_s < spans_[i].to_s;
  };
  if (latest_ < spans_.size() && holds(latest_)) return &spans_[latest_];
  const auto after = std::ranges::upper_bound(spans_, time_s, {}, &TrialSpan::from_s);
  if (after == spans_.begin()) return nullptr;
  const auto i = static_cast<std::size_t>(after - spans_.begin()) - 1;
  if (!holds(i)) return nullptr;
  latest_ = i;
  return &spans_[i];
}

}  // namespace roundel::record
