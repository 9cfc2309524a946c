// What the recording side tells the web side: a snapshot that is cheap to take at any time.
#pragma once
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::serve {

enum class FeedState { connecting, connected, stalled, listening, stopped };

struct FeedLive {
  std::string name;
  FeedState state = FeedState::stopped;
  double state_since_s{};                                    ///< computer's clock
  double last_report_s{};                                    ///< computer's clock, 0: none yet
  double feed_time_s{};                                      ///< feed's clock, 0: none yet
  std::int64_t received{}, stored{}, repeats{}, rejected{};  ///< since start
  std::int64_t aircraft{};                                   ///< heard in the last 60 s
  double farthest_km{};
  std::size_t queued{}, queue_limit{};
  std::vector<std::pair<std::string, std::int64_t>> rejects;  ///< since start, by reason
};

/// How much less, or more, a running trial's last day heard than the days before.
struct Sensitivity {
  std::string feed, antenna;
  double change_db{};          ///< below 0: less
  double low_db{}, high_db{};  ///< 95 % interval
  int days{};                  ///< that the day is held against
  std::int64_t from_s{};       ///< the last day's start
};

/// Why something configured is not being recorded. The word before the code's '_' says what fails:
/// a feed, the store, or the sensitivity on a feed. There is one reason for each at most.
struct Reason {
  std::string_view code;  ///< for machines, as in daemon/serve/health.h
  std::string feed;       ///< empty: no feed's
  std::string text;       ///< for people
  double since_s{};       ///< computer's clock, 0: not known
};

struct Live {
  double now_s{};
  double started_s{};
  double last_commit_s{};  ///< computer's clock, 0: none yet
  double last_commit_took_s{};
  std::string store_state = "ok";  ///< or what is wrong, in words
  std::vector<FeedLive> feeds;
  std::vector<Sensitivity> sensitivity;  ///< of trials that run for long enough to tell
  std::vector<Reason> failing;           ///< what daemon/serve/health.h makes of the rest
};

/// Thread-safe; returns a copy.
using LiveSource = std::function<Live()>;

}  // namespace roundel::serve
