// Where every question about the record arrives: it is answered with what is kept, or worked out.
#pragma once
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <tuple>
#include <utility>
#include <vector>

#include "daemon/serve/answer_cache.h"
#include "daemon/serve/current_store.h"
#include "daemon/serve/fair_queue.h"
#include "daemon/serve/work.h"
#include "daemon/serve/work_out.h"

namespace roundel::serve {

/// An answer as somebody is given it.
struct Given {
  std::shared_ptr<const Rendered> answer;  ///< none: too many are being worked out
  /// Since it was worked out, where something has been written since; else none.
  std::optional<std::chrono::seconds> age{};
};

/// A thread that looks up what is kept, so that this never waits for a working out, and works out
/// what is quick; two more work out the rest, each with a connection of its own: one what is
/// drawn first, one what is slow. In the queue before each of them clients take turns. Whoever asks
/// for what is being worked out waits for that. What nobody waits for any more is given up.
///
/// The slow one also works in the background while nobody waits for it: an answer that was given
/// though it is outdated; and once an hour, whatever is asked, what the page asks for first, and
/// what was asked for last about the whole record. A visitor finds an answer, however long it takes
/// to work out; after a week without one it is left to the next. When somebody comes, background
/// work is given up, and taken up again later.
///
/// A verdict of a year takes 130 MB, a comparison 150. All such work is slow, so there is one of
/// them at a time, which is what a small board has.
///
/// All functions may be called from any thread.
class Desk {
 public:
  using Clock = AnswerCache::Clock;
  using Done = std::function<void(Given)>;

  struct Options {
    std::filesystem::path store;
    std::size_t queue_limit = 32;  ///< of each of the two
    std::size_t cache_bytes = 16 * 1024 * 1024;
    AnswerCache::Patience patience{};
    /// What the page asks for first, of this record.
    std::function<std::vector<Work>(const schema::Store&)> usual{};
    /// A restart loop must not work it all out each time.
    std::chrono::milliseconds first_look{30'000};
    std::chrono::milliseconds between_looks{60'000};  ///< for what is to be worked out hourly
    std::chrono::minutes renew{60};                   ///< so long after it was tried before
    std::chrono::hours visited{7 * 24};
  };

  explicit Desk(Options options);
  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;
  ~Desk();

  struct Visitor;
  using Ticket = std::shared_ptr<Visitor>;
  /// Those who ask are as many as there are connections at most.
  /// @param client  those of one name take turns with the others as one
  /// @param done    called once, on one of the threads
  Ticket ask(Work work, Done done, std::string client = {});
  /// Whoever asked waits no longer; `done` may be called or not. A change is made all the same.
  void leave(const Ticket& ticket);
  /// Drops what waits, gives up what runs, but for a change.
  void stop();

 private:
  using Origin = AnswerCache::Origin;
  struct Job {
    Work work;
    Origin origin;
    std::vector<Ticket> waiting{};
    bool is_background = false;
  };
  using JobPtr = std::shared_ptr<Job>;
  struct Worker {
    Worker(const Options& options) : queue(options.queue_limit), store(options.store, &is_over) {}
    // Guarded by mutex_.
    FairQueue<JobPtr> queue;
    JobPtr running;
    std::atomic<bool> is_over = false;  // what runs is given up; read without the mutex

    std::condition_variable wake;
    CurrentStore store;  // of the thread only
    std::thread thread;
  };
  // Whoever has changed a trial does not wait for what began before: key, trials, file. Nor does
  // who wants a new answer: data, else 0.
  using Name = std::tuple<std::string, std::int64_t, std::int64_t, std::int64_t>;
  static Name name_of(const Work& work, const Origin& origin);

  void run();
  void attend(const Ticket& ticket);
  void begin(const Ticket& ticket, const Origin& now);
  Result<Origin> origin_now();
  void look();

  void run(Worker& worker);
  void finished(Worker& worker, const Job& job, const Worked& worked);
  // These with the mutex held.
  JobPtr next(Worker& worker);
  void later(const Work& work, const Origin& now);
  void keep(const Work& work, const Origin& origin, const Worked& worked);
  void forget(const JobPtr& job);
  void clear_the_way(Worker& worker);

  Worker& worker_for(const Work& work) { return work.pace == Pace::slow ? slow_ : drawn_; }

  const Options options_;

  std::mutex mutex_;
  std::condition_variable wake_;
  // Guarded by mutex_.
  std::deque<Ticket> asked_;
  bool is_stopping_ = false;
  AnswerCache cache_;
  std::map<Name, JobPtr> under_way_;                // waiting or running, but for changes
  std::deque<std::pair<Work, Origin>> background_;  // each key once

  // Of the desk's thread only.
  CurrentStore store_;
  std::map<std::string, Origin> tried_;  // by key, of what is to be worked out hourly
  Clock::time_point visited_ = Clock::now();

  Worker drawn_, slow_;
  std::thread thread_;
};

}  // namespace roundel::serve
