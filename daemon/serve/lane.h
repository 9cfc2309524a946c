// A worker thread with its own connection to the database and a queue before it.
#pragma once
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/serve/answer.h"
#include "daemon/serve/current_store.h"
#include "daemon/serve/work.h"

namespace roundel::serve {

/// An answer, and what it took of the processor's time: of the whole program, as it has others work
/// for it (pattern/relay.h). Waiting for processes beside it costs nobody anything.
struct Worked {
  std::shared_ptr<const Rendered> answer;
  std::chrono::nanoseconds took{};
  std::vector<std::pair<std::string, std::shared_ptr<const Rendered>>> others{};  ///< by key
};

/// Does it on the caller's thread. A fault becomes an answer of status 500, and a line in the log.
Worked work_out(const Work& work, CurrentStore& store);

/// Held by one at a time. Who is hurried goes before who is not, and waits for one at most.
class Turn {
 public:
  void take(bool is_hurried);
  void give_back();
  std::size_t n_hurried() const;  ///< that wait

 private:
  mutable std::mutex mutex_;
  std::condition_variable free_;
  bool is_taken_ = false;      // guarded by mutex_
  std::size_t n_hurried_ = 0;  // that wait; guarded by mutex_
};

/// Works out answers one after another. All functions may be called from any thread.
class Lane {
 public:
  enum class Priority : std::uint8_t {
    usual,
    idle,  ///< runs when nothing else does (SCHED_IDLE), and so do the threads it starts
  };
  using Done = std::function<void(Worked)>;  ///< called once, on the lane's thread

  /// @param large  held while what is large is worked out
  Lane(std::filesystem::path store, std::size_t queue_limit, Turn& large,
       Priority priority = Priority::usual);
  Lane(const Lane&) = delete;
  Lane& operator=(const Lane&) = delete;
  ~Lane();

  /// False, and the job is dropped, when too many wait.
  [[nodiscard]] bool submit(Work work, Done done);
  /// Drops what waits, lets what runs end. Nothing is accepted afterwards.
  void stop();

 private:
  struct Job {
    Work work;
    Done done;
  };
  void run(Priority priority);

  const std::size_t queue_limit_;
  Turn& large_;

  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Job> queue_;     // guarded by mutex_
  bool is_stopping_ = false;  // guarded by mutex_

  CurrentStore store_;  // of the lane's thread only
  std::thread thread_;
};

}  // namespace roundel::serve
