// One aircraft's reports in one window, summed.
#pragma once
#include <algorithm>
#include <cstdint>

#include "daemon/record/track.h"
#include "roundel/schema/rows.h"
#include "roundel/site/path.h"

namespace roundel::record {

inline constexpr int most_heard = 255;  // what a cell can hold

struct CellSum {
  std::int64_t window = -1;
  int heard{};  // with those of an earlier run
  int n_signal{};
  int earlier_expected{};               // chances that an earlier run counted
  int given_heard{}, given_expected{};  // as last given out
  site::MeanPlace place;
  double altitude_sum_ft{}, signal_sum_dbfs{}, time_sum_s{};  // time from the window's start

  void add(const Fix& fix) noexcept {
    ++heard;
    place.add(fix.place);
    altitude_sum_ft += fix.altitude_ft;
    time_sum_s += fix.time_s - static_cast<double>(window * schema::window_s);
    if (fix.has_signal) {
      signal_sum_dbfs += fix.signal_dbfs;
      ++n_signal;
    }
  }

  /// Goes on from a stored cell. Where its reports fell in the window is not known: the middle.
  void resume(const schema::Cell& cell) noexcept {
    window = cell.window;
    heard = given_heard = cell.heard;
    earlier_expected = given_expected = cell.expected;
    if (heard == 0) return;
    place.add({cell.latitude_deg, cell.longitude_deg}, heard);
    altitude_sum_ft = cell.altitude_ft * heard;
    time_sum_s = 0.5 * schema::window_s * heard;
    if (cell.signal_dbfs) {
      n_signal = heard;
      signal_sum_dbfs = *cell.signal_dbfs * heard;
    }
  }

  double mean_time_s() const noexcept {
    return static_cast<double>(window * schema::window_s) + time_sum_s / heard;
  }

  schema::Cell cell(schema::Id flight, int expected) const {
    schema::Cell cell;
    cell.window = window;
    cell.flight = flight;
    cell.heard = std::min(heard, most_heard);
    cell.expected = expected;
    const site::Place mean = place.mean();
    cell.latitude_deg = mean.latitude_deg;
    cell.longitude_deg = mean.longitude_deg;
    cell.altitude_ft = altitude_sum_ft / heard;
    if (n_signal > 0) cell.signal_dbfs = signal_sum_dbfs / n_signal;
    return cell;
  }
};

}  // namespace roundel::record
