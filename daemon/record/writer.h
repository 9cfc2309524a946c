// The thread that records: takes lines from the network thread through a bounded queue, and
// commits.
#pragma once
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "daemon/feed/intake.h"
#include "daemon/log.h"
#include "daemon/record/recording.h"
#include "roundel/result.h"

namespace roundel::record {

/// Owns a Recording and the one thread that uses it.
///
/// When the store fails in a way that may pass (disk full, busy), the thread keeps what it has and
/// tries again until it succeeds; meanwhile the queue fills and offer() refuses, so that feeds are
/// not read. Nothing is thrown away but rows that no table takes; those are counted and told. When
/// the database has been moved or deleted there is nothing to wait for: the thread ends as after
/// stop(), and on_end says so. All functions may be called from any thread.
class Writer {
 public:
  using Task = std::function<Result<void>(Recording&)>;

  struct Options {
    double write_s = 5;                 ///< between commits
    std::size_t queue_reports = 20000;  ///< lines of one feed that may wait
    Log log;
    /// Called on the writer's thread when offer() has refused and would not now.
    std::function<void()> on_room;
    /// Called on the writer's thread, last, once: what could not be written, if anything.
    std::function<void(Result<void>)> on_end;
    std::chrono::milliseconds retry{1000};     ///< between attempts at a store that fails
    std::chrono::milliseconds give_up{3000};   ///< after stop(): how long to try
    std::chrono::milliseconds poll{1000};      ///< between looks at the trials
    std::chrono::milliseconds retain{60'000};  ///< between looks at what may go
    /// How long the store's state tells of rows that were refused.
    std::chrono::milliseconds tell_refused{300'000};
  };
  struct Status {
    std::string store_state = "ok";  ///< or what is wrong, in words
    double last_commit_s{};          ///< computer's clock, 0: none yet
    double last_commit_took_s{};
    std::chrono::steady_clock::time_point alive{};  ///< when its thread was last seen at work
    std::vector<Recording::Counts> feeds;
    std::map<std::string, std::size_t> queued;  ///< lines waiting, by feed
  };

  Writer(Recording recording, Options options);
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer();  ///< stop(), and waits for the end

  /// Takes lines of a feed that has been added; in order. False: no room, they are left.
  bool offer(const std::string& feed, feed::Intake& intake);
  /// Takes them whatever the room: at most one read of each connection, at its end.
  void offer_last(const std::string& feed, feed::Intake&& intake);
  /// Runs on the writer's thread after all that was offered before; again while it fails in a way
  /// that may pass.
  void post(Task task);
  /// Records what is queued, closes, commits, ends.
  void stop();

  Status status() const;

 private:
  using Clock = std::chrono::steady_clock;
  struct Item {
    std::string feed;
    feed::Intake intake;
    std::size_t n_lines{};
    Task task;
  };
  void run();
  void work();
  std::optional<Item> next(Clock::time_point until, bool& is_over);
  bool handle(Item& item);
  void finished(const Item& item);
  bool commit();
  bool attempt(const std::function<Result<void>()>& action);
  std::string state_of_store();
  void tell_store(const std::string& state);
  Clock::duration retain();
  void publish();

  Recording recording_;
  Options options_;

  mutable std::mutex mutex_;  // guards what follows
  std::condition_variable wake_;
  std::deque<Item> items_;
  std::map<std::string, std::size_t> queued_;
  bool is_refusing_ = false;
  bool is_stopping_ = false;
  Status status_;

  // The thread's own.
  std::optional<Clock::time_point> give_up_at_;
  std::optional<Error> given_up_;
  bool is_dirty_ = false;
  Clock::time_point published_{};
  std::string retain_error_;
  std::int64_t n_refused_ = 0;
  Clock::time_point refused_until_{};

  std::thread thread_;
};

}  // namespace roundel::record
