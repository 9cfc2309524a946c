#include "daemon/record/counts.h"

#include <numeric>

namespace roundel::record {

schema::Tally Counts::take() {
  schema::Tally tally;
  const std::int64_t received = std::accumulate(current_.begin(), current_.end(), std::int64_t{0});
  if (received > 0) tally["received"] = received;
  if (current_[0] > 0) tally["stored"] = current_[0];
  if (current_[1] > 0) tally["repeat"] = current_[1];
  for (std::size_t i = 0; i < feed::reject_names.size(); ++i) {
    if (current_[2 + i] > 0) tally[std::string(feed::reject_names[i])] = current_[2 + i];
  }
  current_ = {};
  return tally;
}

}  // namespace roundel::record
