// /health: is this still recording, and if not, why.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "daemon/serve/answer.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

/// Tells from one look after another what fails. Reads no clock.
///
/// A feed or the store fails once a symptom has lasted for as long as stated below, and is well
/// again once it has been without any for a minute (a feed: for `silent_after_s`, if that is less).
/// In between it goes on failing under whatever symptom it has: what comes and goes fails once.
///   feed_unreachable  no connection for a minute
///   feed_silent       connected or not, no report for silent_after_s
///   feed_stopped      not being read for a minute
///   store_failing     the database does not take what is recorded: at once, as the writer has
///                     waited before it said so
///   store_late        reports come, and for two minutes beyond write_s nothing was written
class Health {
 public:
  struct Limits {
    double silent_after_s = 900;  ///< as [notify] silent_s
    double write_s = 5;           ///< as [store] write_s
  };

  /// What fails now, the store first. To be called about once a second, and whenever somebody asks.
  /// @param live      what is known of feeds and store; its `failing` is not looked at
  /// @param steady_s  a time that grows evenly: setting the computer's clock makes nobody silent
  std::vector<Reason> look(const Live& live, const Limits& limits, double steady_s);

 private:
  // A time of Live's, and the look that first saw it.
  struct Seen {
    double value_s{}, at{};
    bool changes(double now_s, double now);  // true, and remembered, where it is another now
  };
  struct Thing {
    std::optional<Reason> failing;
    std::optional<double> well_at;  // since when it has had no symptom, though it is failing
    void judge(std::optional<Reason> symptom, double settled_s, double now);
  };
  struct Feed : Thing {
    Seen state, report;
  };
  Feed& feed(const FeedLive& live, double now);
  void judge_store(const Live& live, const Limits& limits, double now);

  Thing store_;
  Seen commit_, report_;                // of any feed
  std::optional<double> unwritten_at_;  // a report came, and no commit since
  std::map<std::string, Feed> feeds_;
};

/// 200 while everything configured is being recorded, else 503. The body names each reason by a
/// code for machines and a sentence for people.
Answer health(const Live& live);

/// What somebody is to be told.
struct Alarm {
  bool is_failing{};  ///< false: recovered
  Reason reason;
};

/// What of `known` no longer fails, then what has begun to; `known` becomes `now`. A thing that
/// goes on failing for another reason is no change, and recovers under the reason it was told by.
std::vector<Alarm> alarms(std::vector<Reason>& known, const std::vector<Reason>& now);

/// Running trials whose last day fell by `loss_db` or more below the days before, and by more than
/// days differ by chance. Code: `sensitivity_down`; recording itself is well.
std::vector<Reason> lost_sensitivity(const std::vector<Sensitivity>& now, double loss_db);

}  // namespace roundel::serve
