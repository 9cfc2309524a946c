#include "daemon/record/counts.h"

#include <cmath>
#include <numeric>
#include <utility>

namespace roundel::record {

schema::Tally Counts::take_current() {
  schema::Tally tally;
  const std::int64_t received = std::accumulate(current_.begin(), current_.end(), std::int64_t{0});
  if (received == 0) return tally;
  tally["received"] = received;
  if (current_[0] > 0) tally["stored"] = current_[0];
  if (current_[1] > 0) tally["repeat"] = current_[1];
  for (std::size_t i = 0; i < feed::reject_names.size(); ++i) {
    if (current_[2 + i] > 0) tally[std::string(feed::reject_names[i])] = current_[2 + i];
  }
  current_ = {};
  return tally;
}

void Counts::change_hour(double time_s) {
  for (const auto& [kind, n] : take_current()) {
    earlier_[static_cast<std::int64_t>(hour_s_)][kind] += n;
  }
  hour_s_ = std::floor(time_s / 3600) * 3600;
}

void Counts::take(schema::Batch& batch) {
  batch.hour_s = static_cast<std::int64_t>(hour_s_);
  batch.tally = take_current();
  batch.earlier = std::exchange(earlier_, {});
}

}  // namespace roundel::record
