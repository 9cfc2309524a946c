// One feed being recorded: its recorder, and the trial its reports go to.
#pragma once
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/feed/intake.h"
#include "daemon/log.h"
#include "daemon/record/feed_clock.h"
#include "daemon/record/trial_choice.h"
#include "roundel/config/config.h"
#include "roundel/record/recorder.h"
#include "roundel/result.h"

namespace roundel::record {

/// The first reports wait until three agree on the time, as the recorder's do: a trial must not
/// begin in the year that one garbled line names. Then the trial that covers them is used or made.
/// A live feed settles this once; a file again wherever its reports leave the trial.
class FeedRecording {
 public:
  struct Context {
    schema::Store& store;
    const site::Viewpoint& viewpoint;
    const Rules& rules;
    FlightIds flight_ids;
    bool is_file;
    const Log& log;
    std::function<Result<void>()> await_store;  ///< before the store is used
  };

  /// Reads what the store holds of the feed.
  static Result<FeedRecording> make(const Context& context, const config::Feed& feed);

  /// The configuration has changed; the next report settles what is mounted.
  void change(const config::Feed& feed);
  void set_trials(std::vector<schema::Trial> trials);

  /// As Recording::take_in.
  Result<void> take_in(const Context& context, feed::Intake& intake);
  /// What has been taken in goes to pending().
  void take();
  /// Ends all flights; then take().
  Result<void> close(const Context& context);
  /// A trial that a file has begun ends with it.
  Result<void> end_trial(const Context& context);

  /// Batches to be committed, oldest first; whoever commits one removes it.
  std::deque<schema::Batch>& pending() { return pending_; }
  bool is_take_due() const;

  const config::Feed& config() const { return feed_; }
  const std::vector<schema::Trial>& trials() const { return trials_; }
  schema::Id id() const { return id_; }
  /// Reports of a batch that is committed.
  void count_stored(std::int64_t n) { n_stored_ += n; }
  /// Of those the ones whose rows were refused.
  void count_refused(std::int64_t n);
  /// `stored` is what has been committed.
  LiveCounts live() const;
  const schema::Tally& rejects() const { return rejects_; }
  double last_report_s() const { return last_report_s_; }
  const std::vector<schema::Id>& trials_used() const { return used_; }

 private:
  FeedRecording(const Context& context, const config::Feed& feed, Recorder::Options options);
  bool is_settled(double time_s) const;
  Result<bool> settle(const Context& context, const feed::Arrival& arrival, double time_s);
  Result<void> decide(const Context& context, double time_s);
  Result<void> make_trial(const Context& context, const TrialChoice& choice, std::int64_t time_s);
  Result<void> reload_trials(const Context& context);
  void use(const schema::Trial& trial);
  void flush_held();
  double time_of(const feed::Arrival& arrival) const;
  double held_since(std::size_t n, double time_s) const;
  Equipment wanted() const;
  void count_rejects(const schema::Tally& tally);

  config::Feed feed_;
  schema::Id id_;
  bool is_file_;
  Recorder recorder_;
  FeedClock clock_;
  std::vector<schema::Trial> trials_;
  std::int64_t recorded_to_s_ = 0;
  bool is_decided_ = false;
  double from_s_ = 0, to_s_ = 0;  // the trial in use; files only
  std::vector<schema::Id> used_;
  bool has_open_end_ = false;        // the last of used_ was begun or reopened for a file
  std::vector<feed::Arrival> held_;  // until the feed's time is known
  std::deque<schema::Batch> pending_;
  schema::Tally rejects_;
  std::int64_t n_stored_ = 0, n_refused_ = 0;
  std::int64_t n_since_take_ = 0;
  std::int64_t hour_ = 0;  // of the last take
  double last_report_s_ = 0;
};

}  // namespace roundel::record
