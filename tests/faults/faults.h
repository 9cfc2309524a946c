// What fault tests share: how much to do, what was measured, and traffic without end.
#pragma once
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <string>
#include <string_view>
#include <vector>

namespace roundel::faults {

/// The whole suite, by tests/faults/run; otherwise the short form that `check` runs.
inline bool is_full() {
  const char* const form = std::getenv("ROUNDEL_FAULTS");
  return form != nullptr && std::string_view(form) == "full";
}

/// Sanitizers take memory of their own: how much there is says nothing of the program's.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
inline constexpr bool is_sanitized = true;
#else
inline constexpr bool is_sanitized = false;
#endif

/// For the table in docs/left-running.md.
template <class... Args>
void measured(fmt::format_string<Args...> format, Args&&... args) {
  std::printf("measured: %s\n", fmt::format(format, std::forward<Args>(args)...).c_str());
  std::fflush(stdout);
}

/// Aircraft on circles round the site of the end-to-end configuration, two reports a second each,
/// as NDJSON lines in order of time.
class Traffic {
 public:
  explicit Traffic(int n_aircraft, double start_s = 1'772'445'600) : time_s_(start_s) {
    for (int i = 0; i < n_aircraft; ++i) {
      // Spread evenly over ranges and bearings by steps that share no factor with their number.
      const double range_km = 40 + 200.0 * (i * 37 % n_aircraft) / n_aircraft;
      aircraft_.push_back({range_km, 2 * std::numbers::pi * (i * 61 % n_aircraft) / n_aircraft});
    }
  }

  /// Appends so many seconds of it.
  void append(double seconds, std::string& to) {
    constexpr double step_s = 0.5, speed_km_s = 0.22, km_per_deg = 111.2, latitude_deg = 52.1;
    const double east_km_per_deg = km_per_deg * std::cos(latitude_deg * std::numbers::pi / 180);
    for (double done = 0; done < seconds; done += step_s, time_s_ += step_s) {
      for (std::size_t i = 0; i < aircraft_.size(); ++i) {
        const auto& [range_km, phase] = aircraft_[i];
        const double at_s =
            time_s_ + step_s * static_cast<double>(i) / static_cast<double>(aircraft_.size());
        const double angle = phase + speed_km_s * (at_s - 1'772'445'600) / range_km;
        fmt::format_to(std::back_inserter(to),
                       "{{\"time\":{:.3f},\"address\":\"{:06x}\",\"latitude\":{:.5f},"
                       "\"longitude\":{:.5f},\"altitude_ft\":36000,\"signal_dbfs\":-20.5}}\n",
                       at_s, 0x400000 + i, latitude_deg + range_km * std::cos(angle) / km_per_deg,
                       19.4 + range_km * std::sin(angle) / east_km_per_deg);
      }
    }
  }
  std::string next(double seconds) {
    std::string out;
    append(seconds, out);
    return out;
  }
  double time_s() const { return time_s_; }

 private:
  struct Circling {
    double range_km, phase;
  };
  double time_s_;
  std::vector<Circling> aircraft_;
};

inline std::int64_t n_lines(std::string_view text) {
  std::int64_t n = 0;
  for (const char c : text) n += c == '\n';
  return n;
}

}  // namespace roundel::faults
