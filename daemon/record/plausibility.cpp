#include "daemon/record/plausibility.h"

#include <algorithm>
#include <cmath>

#include "daemon/record/folding.h"

namespace roundel::record {
namespace {

constexpr double lowest_ft = -1500, highest_ft = 60'000;
// Wide enough for a fix on the ground's horizon; common practice, no source.
constexpr double margin_km = 5;
// The answer for one place serves for those this near, and lower or higher by no more than so much.
constexpr double near_km = 20;
constexpr double near_ft = 1000;
// Traffic is heard past the horizon now and then.
constexpr double heard_ratio = 1.05;

}  // namespace

std::optional<feed::Reject> implausible(const feed::Report& report) noexcept {
  if (report.address == 0 || report.address >= 0xffffff) return feed::Reject::bad_address;
  if (!(std::abs(report.latitude_deg) <= 90) || !(std::abs(report.longitude_deg) <= 180) ||
      (report.latitude_deg == 0 && report.longitude_deg == 0)) {
    return feed::Reject::bad_position;
  }
  if (report.altitude_ft &&
      !(*report.altitude_ft >= lowest_ft && *report.altitude_ft <= highest_ft)) {
    return feed::Reject::bad_altitude;
  }
  // First, as surface messages carry no altitude: theirs is not missing.
  if (report.on_ground) return feed::Reject::on_ground;
  if (!report.altitude_ft) return feed::Reject::no_altitude;
  return std::nullopt;
}

bool is_beyond_horizon(const site::Place& place, double altitude_ft, Aircraft& aircraft,
                       const site::Viewpoint& viewpoint, const Rules& rules) noexcept {
  if (aircraft.slack_km > 0 && std::abs(altitude_ft - aircraft.checked_altitude_ft) <= near_ft &&
      site::are_within(aircraft.checked, place, std::min(aircraft.slack_km, near_km))) {
    return false;
  }
  const site::Sightline line = viewpoint.to(place.latitude_deg, place.longitude_deg, altitude_ft);
  const double limit_km =
      rules.max_horizon_ratio * viewpoint.horizon_km(line.bearing_deg, altitude_ft) + margin_km;
  const double lower_limit_km =
      rules.max_horizon_ratio * viewpoint.horizon_km(line.bearing_deg, altitude_ft - near_ft) +
      margin_km;
  aircraft.checked = place;
  aircraft.checked_altitude_ft = altitude_ft;
  aircraft.slack_km = lower_limit_km - line.range_km;
  const double heard_km =
      heard_ratio * viewpoint.horizon_km(line.bearing_deg, altitude_ft + near_ft);
  aircraft.is_unambiguous = line.range_km + near_km < smallest_fold_km - heard_km;
  return line.range_km > limit_km;
}

}  // namespace roundel::record
