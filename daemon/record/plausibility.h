// Checks of one report by itself, without what is known of its aircraft.
#pragma once
#include <optional>

#include "daemon/record/aircraft_table.h"
#include "roundel/feed/report.h"
#include "roundel/site/sightline.h"

namespace roundel::record {

/// Unix seconds that a window number can be made of; what is more (the year 5138) is milliseconds.
inline constexpr double latest_time_s = 1e11;

/// bad_address, bad_position, bad_altitude, on_ground or no_altitude, in this order; none: fine.
std::optional<feed::Reject> implausible(const feed::Report& report) noexcept;

/// Whether the place is farther than rules.max_horizon_ratio times the radio horizon at that
/// altitude, and 5 km. Keeps in `aircraft` what answers the same for the next fixes nearby, and
/// whether another zone of position decoding would lie within the horizon as well.
bool is_beyond_horizon(const site::Place& place, double altitude_ft, Aircraft& aircraft,
                       const site::Viewpoint& viewpoint, const Rules& rules) noexcept;

}  // namespace roundel::record
