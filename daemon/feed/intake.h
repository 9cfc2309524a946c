// What one read of a feed brought: the reports in it, and why other lines are none.
#pragma once
#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <string_view>
#include <vector>

#include "roundel/feed/layout_reader.h"
#include "roundel/feed/report.h"

namespace roundel::feed {

struct Arrival {
  Report report;
  double arrival_s{};  ///< the computer's clock, Unix seconds
};

/// Lines of one feed on their way to its recorder. Each line is in it once; with `each`, each
/// element of a line's array.
struct Intake {
  bool interrupted = false;  ///< before all that follows, the connection was lost or made
  std::array<int, reject_names.size()> n_rejected{};
  std::vector<Arrival> reports;

  std::size_t n_lines() const {
    std::size_t n = reports.size();
    for (const int count : n_rejected) n += static_cast<std::size_t>(count);
    return n;
  }
  /// Places in a queue: without a line it takes one, too, or a peer that comes and goes fills
  /// memory.
  std::size_t n_places() const { return std::max<std::size_t>(1, n_lines()); }
  bool empty() const { return !interrupted && n_lines() == 0; }
  void reject(Reject reason, int count = 1) {
    n_rejected[static_cast<std::size_t>(reason)] += count;
  }
  void add(LayoutReader& reader, std::string_view line, double arrival_s) {
    if (reader.reads_many()) {
      reader.read_each(line, arrival_s, [&](std::optional<Reject> reason, const Report& report) {
        if (reason)
          reject(*reason);
        else
          reports.push_back({report, arrival_s - report.age_s});
      });
      return;
    }
    Arrival& arrival = reports.emplace_back();
    arrival.arrival_s = arrival_s;
    if (const auto reason = reader.read(line, arrival_s, arrival.report)) {
      reports.pop_back();
      reject(*reason);
    } else {
      arrival.arrival_s -= arrival.report.age_s;
    }
  }
};

}  // namespace roundel::feed
