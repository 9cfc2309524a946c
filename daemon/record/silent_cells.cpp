#include "daemon/record/silent_cells.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace roundel::record {
namespace {

constexpr double least_track_s = 15;
constexpr double least_miss_km = 3;
constexpr double miss_per_distance = 0.05;
constexpr double speed_tolerance = 0.1;
constexpr double level_ft = 500;
constexpr double walk_km_per_root_s = 0.1;
constexpr double least_uncertainty_km = 0.1;

double speed(const HeardCell& a, const HeardCell& b) {
  return site::distance_km(a.place, b.place) / (b.time_s - a.time_s);
}

bool is_near(double a, double b, double tolerance) {
  return std::abs(a - b) <= tolerance * std::max(a, b);
}

}  // namespace

Waypoint waypoint(const HeardCell& from, const HeardCell& to, double time_s) noexcept {
  const double fraction = (time_s - from.time_s) / (to.time_s - from.time_s);
  return {site::along(from.place, to.place, fraction),
          from.altitude_ft + fraction * (to.altitude_ft - from.altitude_ft)};
}

std::optional<StraightPath> StraightPath::find(std::span<const HeardCell> before,
                                               std::span<const HeardCell> after) noexcept {
  if (before.size() < 2 || after.size() < 2) return std::nullopt;
  const HeardCell& b0 = before.front();
  const HeardCell& b1 = before.back();
  const HeardCell& a0 = after.front();
  const HeardCell& a1 = after.back();
  if (b1.time_s - b0.time_s < least_track_s || a1.time_s - a0.time_s < least_track_s) {
    return std::nullopt;
  }
  double bottom_ft = b0.altitude_ft, top_ft = b0.altitude_ft;
  for (const std::span<const HeardCell> end : {before, after}) {
    for (const HeardCell& cell : end) {
      bottom_ft = std::min(bottom_ft, cell.altitude_ft);
      top_ft = std::max(top_ft, cell.altitude_ft);
    }
  }
  if (top_ft - bottom_ft > level_ft) return std::nullopt;

  const double across = speed(b1, a0);
  if (!is_near(speed(b0, b1), across, speed_tolerance) ||
      !is_near(speed(a0, a1), across, speed_tolerance)) {
    return std::nullopt;
  }
  StraightPath path;
  path.from_ = b1;
  path.to_ = a0;
  path.miss_forward_km_ = site::distance_km(waypoint(b0, b1, a0.time_s).place, a0.place);
  path.miss_backward_km_ = site::distance_km(waypoint(a0, a1, b1.time_s).place, b1.place);
  const double limit_km =
      std::max(least_miss_km, miss_per_distance * site::distance_km(b1.place, a0.place));
  if (path.miss_forward_km_ > limit_km || path.miss_backward_km_ > limit_km) return std::nullopt;
  return path;
}

double StraightPath::uncertainty_km(double time_s) const noexcept {
  const double whole_s = to_.time_s - from_.time_s;
  const double f = std::clamp((time_s - from_.time_s) / whole_s, 0.0, 1.0);
  const double curve_km = f * (1 - f) * ((1 - f) * miss_forward_km_ + f * miss_backward_km_);
  const double walk_km = walk_km_per_root_s * std::sqrt(f * (1 - f) * whole_s);
  return std::max(least_uncertainty_km, std::hypot(curve_km, walk_km));
}

}  // namespace roundel::record
