#include "daemon/program/progress.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdio>

namespace roundel::program {
namespace {

constexpr std::chrono::milliseconds interval{250};
// Carriage return, erase to the end of the line (ECMA-48, EL).
constexpr const char* erase = "\r\x1b[K";

std::string duration(double time_s) {
  const auto whole = static_cast<long>(std::min(time_s, 1e8) + 0.5);
  if (whole < 60) return fmt::format("{} s", whole);
  if (whole < 3600) return fmt::format("{} min {} s", whole / 60, whole % 60);
  return fmt::format("{} h {} min", whole / 3600, whole % 3600 / 60);
}

}  // namespace

Progress::Progress(bool is_shown, std::optional<std::int64_t> total_bytes)
    : is_shown_(is_shown),
      total_bytes_(total_bytes),
      start_(std::chrono::steady_clock::now()),
      shown_(start_) {}

Progress::~Progress() { done(); }

std::string Progress::text(std::optional<double> share, double reports_per_s, double passed_s) {
  std::string out = share ? fmt::format("{:3.0f} %  ", *share * 100) : std::string();
  out += fmt::format("{:.0f} reports/s", reports_per_s);
  if (share && *share > 0)
    out += fmt::format("  {} left", duration(passed_s * (1 - *share) / *share));
  return out;
}

void Progress::at(std::int64_t bytes, std::int64_t reports) {
  if (!is_shown_) return;
  const auto now = std::chrono::steady_clock::now();
  if (now - shown_ < interval) return;
  shown_ = now;
  const double passed_s = std::chrono::duration<double>(now - start_).count();
  std::optional<double> share;
  if (total_bytes_ && *total_bytes_ > 0)
    share = std::min(1.0, static_cast<double>(bytes) / static_cast<double>(*total_bytes_));
  std::fprintf(stderr, "%s%s", erase,
               text(share, static_cast<double>(reports) / passed_s, passed_s).c_str());
  std::fflush(stderr);
  has_line_ = true;
}

void Progress::done() {
  if (!has_line_) return;
  std::fputs(erase, stderr);
  has_line_ = false;
}

}  // namespace roundel::program
