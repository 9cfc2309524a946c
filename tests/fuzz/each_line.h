// For targets whose input is lines: cuts them, and checks what every report promises.
#pragma once
#include <cmath>
#include <string>
#include <string_view>
#include <tl/expected.hpp>
#include <vector>

#include "roundel/feed/report.h"
#include "tests/fuzz/check.h"

/// Calls `visit` with each line, as a copy of exactly its size, so that a sanitizer sees a read
/// beyond its end.
template <class Visit>
void each_line(const unsigned char* data, std::size_t size, Visit visit) {
  std::string_view rest(reinterpret_cast<const char*>(data), size);
  for (;;) {
    const std::size_t end = rest.find('\n');
    const std::vector<char> line(
        rest.begin(),
        rest.begin() + static_cast<std::ptrdiff_t>(end == rest.npos ? rest.size() : end));
    visit(std::string_view(line.data(), line.size()));
    if (end == rest.npos) return;
    rest.remove_prefix(end + 1);
  }
}

inline void check_report(const tl::expected<roundel::feed::Report, roundel::feed::Reject>& report) {
  using roundel::feed::Reject;
  if (!report) {
    FUZZ_CHECK(report.error() == Reject::malformed || report.error() == Reject::not_position ||
               report.error() == Reject::bad_address);
    return;
  }
  FUZZ_CHECK(report->address > 0 && report->address < 0xffffff);
  FUZZ_CHECK(std::isfinite(report->latitude_deg) && std::isfinite(report->longitude_deg));
  FUZZ_CHECK(!report->time_s || std::isfinite(*report->time_s));
  FUZZ_CHECK(!report->altitude_ft || std::isfinite(*report->altitude_ft));
  FUZZ_CHECK(!report->signal_dbfs || std::isfinite(*report->signal_dbfs));
}
