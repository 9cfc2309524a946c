#include "daemon/feed/tracks.h"

#include <GeographicLib/Geodesic.hpp>
#include <cmath>
#include <unordered_map>

namespace roundel::feed {
namespace {

constexpr double max_speed_km_s = 1200 * 1.852 / 3600;
constexpr double latency_km = 0.3;
constexpr double max_untimed_step_km = 15;
constexpr double moving_km = 0.02;
constexpr double course_step_km = 0.1, course_tolerance_deg = 10;
// A geodesic takes a microsecond; a sample's worth of them times all pairs of places should not
// keep a person waiting.
constexpr std::size_t max_steps = 1000;

struct Step {
  std::size_t from, to;  // rows
  double distance_km, course_deg;
};

std::optional<double> within(const SampleValue& value, double limit) {
  if (!value.number || std::abs(*value.number) > limit) return std::nullopt;
  return value.number;
}

// Calls visit for each step; returns the number of addresses.
template <class Visit>
std::size_t each_step(const SampleTable& table, const Rows& rows, const PositionPlaces& places,
                      Visit visit) {
  const GeographicLib::Geodesic& earth = GeographicLib::Geodesic::WGS84();
  std::unordered_map<std::uint32_t, std::size_t> latest;  // row
  std::size_t n_steps = 0;
  for (const std::size_t row : rows) {
    const auto address = address_of(table.at(row, places.address));
    const auto latitude = within(table.at(row, places.latitude), 90);
    const auto longitude = within(table.at(row, places.longitude), 180);
    if (!address || !latitude || !longitude) continue;
    const auto [entry, is_new] = latest.emplace(*address, row);
    if (is_new) continue;
    const std::size_t before = std::exchange(entry->second, row);
    Step step{before, row, 0, 0};
    double reverse_deg{};
    earth.Inverse(*table.at(before, places.latitude).number,
                  *table.at(before, places.longitude).number, *latitude, *longitude,
                  step.distance_km, step.course_deg, reverse_deg);
    step.distance_km /= 1000;
    visit(step);
    if (++n_steps == max_steps) break;
  }
  return latest.size();
}

}  // namespace

bool TrackEvidence::moves_like_aircraft() const {
  constexpr std::size_t enough_steps = 8;
  return n_steps >= enough_steps && n_plausible * 20 >= n_steps * 19 && n_moving * 10 >= n_steps;
}

TrackEvidence tracks(const SampleTable& table, const Rows& rows, const PositionPlaces& places,
                     const std::optional<TimePlace>& time) {
  TrackEvidence evidence;
  evidence.n_aircraft = each_step(table, rows, places, [&](const Step& step) {
    double limit_km = max_untimed_step_km;
    if (time) {
      const auto from_s = time_s(table.at(step.from, time->place), time->kind);
      const auto to_s = time_s(table.at(step.to, time->place), time->kind);
      if (from_s && to_s) limit_km = latency_km + max_speed_km_s * (1 + std::abs(*to_s - *from_s));
    }
    ++evidence.n_steps;
    evidence.n_plausible += step.distance_km <= limit_km;
    evidence.n_moving += step.distance_km > moving_km;
  });
  return evidence;
}

CourseMatch match_course(const SampleTable& table, const Rows& rows, const PositionPlaces& places,
                         std::size_t place) {
  CourseMatch match;
  each_step(table, rows, places, [&](const Step& step) {
    const auto course_deg = within(table.at(step.to, place), 360);
    if (step.distance_km < course_step_km || !course_deg) return;
    ++match.n_steps;
    const double apart_deg = std::remainder(*course_deg - step.course_deg, 360);
    match.n_matching += std::abs(apart_deg) <= course_tolerance_deg;
  });
  return match;
}

}  // namespace roundel::feed
