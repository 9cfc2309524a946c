// Checks of one report by itself, without what is known of its aircraft.
#pragma once
#include <cstdint>
#include <optional>
#include <tl/expected.hpp>

#include "daemon/record/aircraft_table.h"
#include "roundel/feed/report.h"
#include "roundel/site/sightline.h"

namespace roundel::record {

/// Unix seconds that a window number can be made of; what is more (the year 5138) is milliseconds.
inline constexpr double latest_time_s = 1e11;

/// bad_address, bad_position, bad_altitude, bad_signal, on_ground or no_altitude, in this order;
/// none: fine.
std::optional<feed::Reject> implausible(const feed::Report& report) noexcept;

/// What a report says, valid by construction: every value is believable by itself, and lies within
/// what the tables hold, as does every mean of such values.
class PlausibleReport {
 public:
  /// Refused for the reason that implausible() tells.
  static tl::expected<PlausibleReport, feed::Reject> make(const feed::Report& report) noexcept;

  std::uint32_t address() const noexcept { return address_; }
  const site::Place& place() const noexcept { return place_; }
  double altitude_ft() const noexcept { return altitude_ft_; }
  bool has_signal() const noexcept { return has_signal_; }
  double signal_dbfs() const noexcept { return signal_dbfs_; }
  /// Recorded under another address than its own.
  void hide_address(std::uint32_t hidden) noexcept { address_ = hidden; }

 private:
  PlausibleReport() = default;
  site::Place place_;
  double altitude_ft_{}, signal_dbfs_{};
  std::uint32_t address_{};
  bool has_signal_ = false;
};

/// Whether the place is farther than rules.max_horizon_ratio times the radio horizon at that
/// altitude, and 5 km. Keeps in `aircraft` what answers the same for the next fixes nearby, and
/// whether another zone of position decoding would lie within the horizon as well.
bool is_beyond_horizon(const site::Place& place, double altitude_ft, Aircraft& aircraft,
                       const site::Viewpoint& viewpoint, const Rules& rules) noexcept;

}  // namespace roundel::record
