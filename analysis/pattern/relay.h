// Batches handed from one thread to others, each of which sees all of them in order.
#pragma once
#include <array>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>
#include <vector>

#include "analysis/pattern/beside.h"

namespace roundel::pattern {

/// The caller fills a batch while the visitors look at earlier ones, each on a thread of its own.
/// Whatever the number of cores, each visitor is shown the same batches in the same order, so its
/// answer is the same, too. On one core, and where the system gives no more threads, visitors run
/// in the caller's.
///
/// Holds `n_slots` batches. The caller waits while the slowest visitor is so many behind.
template <class Batch>
class Relay {
 public:
  using Visitor = std::function<void(const Batch&)>;

  explicit Relay(std::vector<Visitor> visitors) : visitors_(std::move(visitors)) {
    seen_.assign(visitors_.size(), 0);
    if (cores() < 2) return;
    try {
      while (threads_.size() < visitors_.size()) {
        const std::size_t i = threads_.size();
        threads_.emplace_back([this, i] { run(i); });
      }
    } catch (const std::system_error&) {  // the rest run in the caller's thread
    }
  }
  Relay(const Relay&) = delete;
  Relay& operator=(const Relay&) = delete;
  ~Relay() { finish(); }

  /// A batch to fill, with what it held before.
  Batch& next() {
    std::unique_lock lock(mutex_);
    has_room_.wait(lock, [&] {
      for (std::size_t i = 0; i < threads_.size(); ++i)
        if (handed_ - seen_[i] >= n_slots) return false;
      return true;
    });
    return slot(handed_);
  }

  /// Gives the batch of the last next() to all.
  void hand_over() {
    const Batch& batch = slot(handed_);
    {
      const std::lock_guard lock(mutex_);
      ++handed_;
    }
    has_batch_.notify_all();
    for (std::size_t i = threads_.size(); i < visitors_.size(); ++i) visitors_[i](batch);
  }

  /// Returns when all have seen everything. Called again, does nothing.
  void finish() {
    {
      const std::lock_guard lock(mutex_);
      is_over_ = true;
    }
    has_batch_.notify_all();
    for (std::thread& thread : threads_)
      if (thread.joinable()) thread.join();
  }

 private:
  static constexpr std::size_t n_slots = 4;

  /// Where all run in one thread one slot does, and stays in its core's cache.
  Batch& slot(std::uint64_t number) { return slots_[threads_.empty() ? 0 : number % n_slots]; }

  void run(std::size_t i) {
    std::unique_lock lock(mutex_);
    for (;;) {
      has_batch_.wait(lock, [&] { return seen_[i] < handed_ || is_over_; });
      if (seen_[i] == handed_) return;
      const Batch& batch = slot(seen_[i]);
      lock.unlock();
      visitors_[i](batch);
      lock.lock();
      ++seen_[i];
      has_room_.notify_one();
    }
  }

  std::vector<Visitor> visitors_;
  std::array<Batch, n_slots> slots_{};
  std::mutex mutex_;
  std::condition_variable has_batch_, has_room_;
  std::uint64_t handed_ = 0;         // written by the caller only, under the lock
  std::vector<std::uint64_t> seen_;  // by visitor
  bool is_over_ = false;
  std::vector<std::thread> threads_;  // of the first visitors
};

}  // namespace roundel::pattern
