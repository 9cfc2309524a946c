// What time it is on a feed, from the times of its reports alone.
#pragma once
#include <cstddef>

#include "roundel/record/recorder.h"

namespace roundel::record {

/// The clock of one feed. It has no other source than the reports, so that a recording gives the
/// same clock whenever and however fast it is played.
///
/// now() is the newest time that two reports have reached (within 5 s), so that one wrong time
/// does not make the following right ones late. Times further off are judged in a chain: reports
/// that follow each other, each at most stale_s behind the newest of them and one flight break
/// ahead, with no report between them that agrees with the clock.
/// - Ahead by more than leap_s: held. Three in a chain over at least one second: the clock leaps.
/// - Before the first report the clock has no time; three in a chain start it.
/// - Behind by more than stale_s: stale. Twenty in a chain over at least ten seconds: the clock was
///   set back, and follows.
/// - Behind by more than out_of_order_s: accepted. Fifty in a chain over fifteen seconds: set back.
class FeedClock {
 public:
  enum class Verdict {
    accept,
    hold,  ///< the caller keeps the report
    leap,  ///< confirms itself and the last chain_length() - 1 held: follow() each in turn
    stale,
    set_back,  ///< accepted; now() has gone back to it
  };

  explicit FeedClock(const Rules& rules) : rules_(rules) {}

  Verdict judge(double time_s) noexcept;
  /// Moves or starts the clock by a report that a leap has confirmed.
  void follow(double time_s) noexcept;

  bool is_running() const noexcept { return is_running_; }
  double now() const noexcept { return now_s_; }
  /// The newest time accepted, now() or later.
  double newest() const noexcept { return newest_s_; }
  /// Of reports held, those not refuted: the latest of them. 0: what is held is refuted.
  std::size_t chain_length() const noexcept { return ahead_.length; }
  /// From the earliest time of the chain to the latest.
  double chain_span_s() const noexcept { return ahead_.span_s(); }

 private:
  struct Chain {
    std::size_t length{};
    double oldest_s{}, newest_s{};
    void add(double time_s, const Rules& rules) noexcept;
    double span_s() const noexcept { return newest_s - oldest_s; }
  };
  void start(double time_s) noexcept;
  void advance(double time_s) noexcept;
  Verdict follow_back(double time_s) noexcept;

  Rules rules_;
  bool is_running_ = false;
  double now_s_{}, newest_s_{};
  int below_newest_ = 0;
  Chain ahead_, behind_;
};

}  // namespace roundel::record
