// How long to wait before a connection is tried again.
#pragma once
#include <algorithm>
#include <chrono>
#include <random>

namespace roundel::feed {

/// Doubles from 1 s to 60 s, each shortened by a random part of up to half, so that many clients
/// of one receiver that was restarted don't all come back at once.
class Backoff {
 public:
  using Duration = std::chrono::duration<double>;
  static constexpr Duration first{1}, longest{60};

  explicit Backoff(std::uint32_t seed) : random_(seed) {}

  Duration next() {
    const Duration wait = next_ * std::uniform_real_distribution(0.5, 1.0)(random_);
    next_ = std::min(next_ * 2, longest);
    return wait;
  }
  /// The connection has proved good.
  void reset() { next_ = first; }

 private:
  std::minstd_rand random_;
  Duration next_ = first;
};

}  // namespace roundel::feed
