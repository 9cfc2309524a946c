#include "daemon/record/repeats.h"

#include <algorithm>
#include <cmath>

namespace roundel::record {
namespace {

constexpr int remembered = 256, enough = 64;
constexpr float most = 0.95F;
// Decimals of up to 180 degrees are read to some 1e-13 degree.
constexpr double on_grid = 1e-6;

// The shortest gap is 0.4 s; feeds print times to a tenth, or those of arrival.
constexpr double least_gap_s = 0.3;
// A speed is measured over so many steps, or over a minute by what is slower than that.
constexpr double steps_to_measure = 8, least_measure_s = 5, most_measure_s = 60;
// Beyond this the aircraft has most likely turned.
constexpr double stale_measure_s = 180;
constexpr double stay_tolerance = 1.2;
// Whatever hovers longer than this over one place cannot be told from a feed that repeats it.
constexpr double longest_stay_s = 30;

bool is_whole(double value) {
  const double rest = value - static_cast<double>(static_cast<long long>(value));
  return std::abs(rest) < on_grid || std::abs(rest) > 1 - on_grid;
}

}  // namespace

void PositionGrid::add(const site::Place& place) noexcept {
  n_ = std::min(n_ + 1, remembered);
  step_deg_ = 0;
  bool is_on = true;
  for (std::size_t i = share_.size(); i-- > 0;) {
    is_on = is_on && is_whole(place.latitude_deg * steps_per_deg[i]) &&
            is_whole(place.longitude_deg * steps_per_deg[i]);
    share_[i] += ((is_on ? 1.0F : 0.0F) - share_[i]) / static_cast<float>(n_);
    if (n_ >= enough && share_[i] >= most) step_deg_ = 1 / steps_per_deg[i];
  }
}

void LatestPosition::move(const site::Place& place, double time_s, double step_deg) noexcept {
  place_ = place;
  since_s_ = counted_s_ = time_s;
  if (step_deg == 0) {
    deg_per_s_ = -1;
    measured_from_s_ = 0;
    return;
  }
  const double gap_s = time_s - measured_from_s_;
  const double moved_deg =
      std::max(std::abs(place.latitude_deg - measured_from_.latitude_deg),
               std::abs(std::remainder(place.longitude_deg - measured_from_.longitude_deg, 360)));
  const bool is_usable = gap_s >= least_measure_s && gap_s <= stale_measure_s;
  const bool is_enough = moved_deg >= steps_to_measure * step_deg || gap_s >= most_measure_s;
  if (is_usable && is_enough) deg_per_s_ = moved_deg / gap_s;
  if ((is_usable && is_enough) || gap_s < 0 || gap_s > stale_measure_s) {
    measured_from_ = place;
    measured_from_s_ = time_s;
  }
}

bool LatestPosition::is_repeat(const site::Place& place, double time_s, double step_deg) noexcept {
  if (!has_any_ || place.latitude_deg != place_.latitude_deg ||
      place.longitude_deg != place_.longitude_deg) {
    has_any_ = true;
    move(place, time_s, step_deg);
    return false;
  }
  if (step_deg == 0 || deg_per_s_ < 0 || time_s - counted_s_ < least_gap_s) return true;
  const double stay_s = std::min(longest_stay_s, stay_tolerance * step_deg / deg_per_s_);
  if (time_s - since_s_ > stay_s) return true;
  counted_s_ = time_s;
  return false;
}

}  // namespace roundel::record
