// Parts of a work beside each other, on the cores there are.
#pragma once
#include <sched.h>

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <functional>
#include <system_error>
#include <thread>
#include <utility>
#include <vector>

namespace roundel::pattern {

/// That this program may run on: of a machine's cores, a container or a service may have been given
/// some. At least 1.
inline std::size_t cores() {
  cpu_set_t ours;
  if (sched_getaffinity(0, sizeof ours, &ours) == 0)
    return static_cast<std::size_t>(std::max(1, CPU_COUNT(&ours)));
  return std::max(1U, std::thread::hardware_concurrency());
}

/// Calls work(0) to work(n - 1), each once, in any order and at the same time, while whoever made
/// this does something else. What one writes, no other may touch. Whoever adds up what they find
/// does so afterwards, in their order: then the sum is the same to the last digit, however many
/// cores there are.
template <class Work>
class Underway {
 public:
  Underway(std::size_t n, Work work) : n_(n), work_(std::move(work)) {
    const std::size_t n_threads = std::min(n, cores());
    try {
      while (others_.size() + 1 < n_threads) others_.emplace_back([this] { run(); });
    } catch (const std::system_error&) {  // no more threads: those there are do it
    }
  }
  Underway(const Underway&) = delete;
  Underway& operator=(const Underway&) = delete;
  ~Underway() { finish(); }

  /// Does its part, and returns when all are done. Called again, does nothing.
  void finish() {
    run();
    for (std::thread& other : others_) other.join();
    others_.clear();
  }

 private:
  void run() {
    for (std::size_t i = next_++; i < n_; i = next_++) work_(i);
  }

  const std::size_t n_;
  const Work work_;
  std::atomic<std::size_t> next_{0};
  std::vector<std::thread> others_;
};

/// The same, and returns when all are done.
template <class Work>
void each_beside(std::size_t n, const Work& work) {
  Underway(n, std::cref(work)).finish();
}

}  // namespace roundel::pattern
