// A worker thread with its own connection to the database, a queue before it and a cache behind.
#pragma once
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <filesystem>
#include <functional>
#include <list>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <unordered_map>

#include "daemon/serve/answer.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// What an answer was worked out from.
struct DataVersion {
  std::int64_t data{};    ///< another after every commit
  std::int64_t trials{};  ///< another after every change to trials or notes
  bool operator==(const DataVersion&) const = default;
};

/// Answers that are still right: each belongs to a version of the data, and goes when that has
/// passed; or later, where it may be older. Keeps to `limit_bytes`, forgetting what was asked for
/// longest ago. One thread.
class AnswerCache {
 public:
  using Clock = std::chrono::steady_clock;

  explicit AnswerCache(std::size_t limit_bytes) : limit_bytes_(limit_bytes) {}
  std::shared_ptr<const Rendered> find(const std::string& key, DataVersion version,
                                       Clock::time_point now = {});
  /// @param until  until then newer cells do not matter, but trials do
  void keep(const std::string& key, DataVersion version, std::shared_ptr<const Rendered> answer,
            Clock::time_point until = {});
  void clear();
  std::size_t bytes() const { return bytes_; }

 private:
  struct Entry {
    std::string key;
    DataVersion version;
    Clock::time_point until;
    std::shared_ptr<const Rendered> answer;
    std::size_t bytes;
  };
  void drop(std::list<Entry>::iterator entry);

  std::size_t limit_bytes_, bytes_ = 0;
  std::list<Entry> entries_;  // last asked for first
  std::unordered_map<std::string, std::list<Entry>::iterator> by_key_;
};

/// Works out answers one after another. Whoever asks again while the data is the same gets the
/// answer worked out before; one that took long also a while after, as a page that is left open
/// asks for a verdict every minute, and each commit brings a few cells more: none takes more than a
/// thirtieth of a core. All functions may be called from any thread.
class Lane {
 public:
  struct Job {
    std::string key{};  ///< same key, same data: same answer. Empty: never kept.
    std::function<Result<Answer>(const schema::Store&)> work{};
    std::function<Result<Answer>(schema::Store&)> change{};  ///< instead of `work`
    /// Called once, on the lane's thread.
    std::function<void(std::shared_ptr<const Rendered>)> done{};
    bool takes_place = true;  ///< the lane's own: another with its key was waiting when it came
  };

  Lane(std::filesystem::path store, std::size_t queue_limit, std::size_t cache_bytes);
  Lane(const Lane&) = delete;
  Lane& operator=(const Lane&) = delete;
  ~Lane();

  /// False, and the job is dropped, when too many wait; those of one key count as one.
  [[nodiscard]] bool submit(Job job);
  /// Drops what waits, lets what runs end. Nothing is accepted afterwards.
  void stop();

 private:
  void run();
  std::shared_ptr<const Rendered> answer(const Job& job);
  Result<schema::Store> open_to_change() const;
  Result<void> reopen_if_replaced();

  const std::filesystem::path file_;
  const std::size_t queue_limit_;

  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Job> queue_;     // guarded by mutex_
  std::size_t n_works_ = 0;   // of them, that take a place; guarded by mutex_
  bool is_stopping_ = false;  // guarded by mutex_

  // Of the lane's thread only.
  std::optional<schema::Store> store_;
  std::pair<std::uint64_t, std::uint64_t> identity_{};  // of the open file
  AnswerCache cache_;

  std::thread thread_;
};

}  // namespace roundel::serve
