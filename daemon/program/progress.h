// A line on standard error that says how far a load has come.
#pragma once
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

namespace roundel::program {

class Progress {
 public:
  /// @param total_bytes  none: unknown, no share and no time left
  Progress(bool is_shown, std::optional<std::int64_t> total_bytes);
  /// Erases the line where the work ends early.
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  /// Shows, a few times a second at most.
  void at(std::int64_t bytes, std::int64_t reports);
  void done();

  /// " 42 %  310 000 reports/s  1 min 5 s left"
  static std::string text(std::optional<double> share, double reports_per_s, double passed_s);

 private:
  bool is_shown_;
  std::optional<std::int64_t> total_bytes_;
  std::chrono::steady_clock::time_point start_, shown_;
  bool has_line_ = false;
};

}  // namespace roundel::program
