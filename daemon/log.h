// How the rooms of the daemon tell what has happened; the program decides where it goes.
#pragma once
#include <algorithm>
#include <chrono>
#include <functional>
#include <string>
#include <string_view>

namespace roundel {

enum class Level { info, warning, error };

/// Takes one line, without its end. May be called from any thread.
using Log = std::function<void(Level, std::string_view)>;

/// Lets through a burst of lines, then a few: a feed that flaps all night must not fill a log.
/// What was held back is counted, and named with the next line let through. One thread.
class LimitedLog {
 public:
  using Clock = std::chrono::steady_clock;
  static constexpr double burst = 20;  ///< lines at once
  static constexpr double lines_per_s = 0.1;

  explicit LimitedLog(Log log) : log_(std::move(log)) {}

  void operator()(Level level, std::string_view line, Clock::time_point now = Clock::now()) {
    const double passed_s = std::chrono::duration<double>(now - last_).count();
    allowed_ = std::min(burst, allowed_ + passed_s * lines_per_s);
    last_ = now;
    if (allowed_ < 1) {
      ++held_back_;
      return;
    }
    allowed_ -= 1;
    if (held_back_ == 0) {
      log_(level, line);
    } else {
      log_(level, std::string(line) + " (" + std::to_string(held_back_) + " lines held back)");
      held_back_ = 0;
    }
  }

 private:
  Log log_;
  double allowed_ = burst;
  Clock::time_point last_ = Clock::now();
  long held_back_ = 0;
};

}  // namespace roundel
