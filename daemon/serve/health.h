// /health: is this still recording, and if not, why.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "daemon/serve/answer.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

/// Why something configured is not being recorded.
struct Reason {
  std::string_view code;  ///< for machines, as below
  std::string feed;       ///< empty: no feed's
  std::string text;       ///< for people
  double since_s{};       ///< computer's clock, 0: not known
};

/// None while everything configured is being recorded.
std::vector<Reason> failing(const Live& live);

/// 200 while everything configured is being recorded, else 503. The body names each reason by a
/// code for machines and a sentence for people:
///   feed_unreachable  no connection for more than a minute
///   feed_stalled      connected, and silent for longer than the feed's configuration allows
///   feed_silent       connected or not, no report has come for Live::silent_after_s
///   feed_stopped      not being read
///   store_failing     the database does not take what is recorded
///   store_late        reports come, and nothing was written for two minutes
Answer health(const Live& live);

/// Running trials whose last day fell by `loss_db` or more below the days before, and by more than
/// days differ by chance. Code: `sensitivity_down`; recording itself is well.
std::vector<Reason> lost_sensitivity(const std::vector<Sensitivity>& now, double loss_db);

}  // namespace roundel::serve
