#include "daemon/record/plausibility.h"

#include <algorithm>
#include <cmath>

#include "daemon/record/folding.h"
#include "roundel/schema/rows.h"

namespace roundel::record {
namespace {

constexpr double lowest_ft = -1500, highest_ft = 60'000;
// Full scale is 0 dB by definition, and 24 bits span 144 dB. Wide, as some receivers count from
// elsewhere; an altitude, say, read as a level must not pass. Common practice, no source.
constexpr double lowest_dbfs = -200, highest_dbfs = 100;
static_assert(-schema::most_altitude_ft <= lowest_ft && highest_ft <= schema::most_altitude_ft);
static_assert(-schema::most_signal_dbfs <= lowest_dbfs && highest_dbfs <= schema::most_signal_dbfs);
static_assert(latest_time_s / schema::window_s <= static_cast<double>(schema::last_window));
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
  if (report.signal_dbfs &&
      !(*report.signal_dbfs >= lowest_dbfs && *report.signal_dbfs <= highest_dbfs)) {
    return feed::Reject::bad_signal;
  }
  // First, as surface messages carry no altitude: theirs is not missing.
  if (report.on_ground) return feed::Reject::on_ground;
  if (!report.altitude_ft) return feed::Reject::no_altitude;
  return std::nullopt;
}

tl::expected<PlausibleReport, feed::Reject> PlausibleReport::make(
    const feed::Report& report) noexcept {
  if (const auto reason = implausible(report)) return tl::unexpected(*reason);
  PlausibleReport made;
  made.place_ = {report.latitude_deg, report.longitude_deg};
  made.altitude_ft_ = *report.altitude_ft;
  made.signal_dbfs_ = report.signal_dbfs.value_or(0);
  made.address_ = report.address;
  made.has_signal_ = report.signal_dbfs.has_value();
  return made;
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
