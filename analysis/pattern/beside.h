// Parts of a work beside each other, on the cores there are.
#pragma once
#include <sched.h>

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <system_error>
#include <thread>
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

/// Calls work(0) to work(n - 1), each once, in any order and at the same time; returns when all are
/// done. What one writes, no other may touch. Whoever adds up what they find does so afterwards, in
/// their order: then the sum is the same to the last digit, however many cores there are.
template <class Work>
void each_beside(std::size_t n, const Work& work) {
  std::atomic<std::size_t> next{0};
  const auto run = [&] {
    for (std::size_t i = next++; i < n; i = next++) work(i);
  };
  std::vector<std::thread> others;
  const std::size_t n_threads = std::min(n, cores());
  try {
    while (others.size() + 1 < n_threads) others.emplace_back(run);
  } catch (const std::system_error&) {  // no more threads: those there are do it
  }
  run();
  for (std::thread& other : others) other.join();
}

}  // namespace roundel::pattern
