#include "analysis/simulate/feed_faults.h"

#include <algorithm>
#include <cmath>

#include "analysis/simulate/numeric.h"

namespace roundel::simulate {
namespace {

constexpr double local_decoding_km = 180 * 1.852;

double milliseconds(double time_s) { return static_cast<double>(whole(time_s * 1000)) / 1000; }

/// Number of longitude zones at a latitude, 1 .. 59.
int longitude_zones(double latitude_deg) {
  const double c = sin_cos(latitude_deg * degree).cos;
  if (std::fabs(latitude_deg) >= 87) return std::fabs(latitude_deg) > 87 ? 1 : 2;
  const double x = 1 - (1 - sin_cos(pi / 30).cos) / (c * c);
  return static_cast<int>(2 * pi / angle_of(std::sqrt(std::max(0.0, 1 - x * x)), x));
}

/// The value nearest to `near` that has the same place within its zone as `value`.
double nearest_alike(double value, double value_zone, double near, double near_zone) {
  const double place = value / value_zone - std::floor(value / value_zone);
  return near_zone * (std::floor(near / near_zone - place + 0.5) + place);
}

}  // namespace

Position decoded_locally(Position aircraft, Position receiver, bool is_odd) {
  const double latitude_zone = is_odd ? 360.0 / 59 : 6.0;
  const auto longitude_zone = [&](double latitude_deg) {
    return 360.0 / std::max(1, longitude_zones(latitude_deg) - (is_odd ? 1 : 0));
  };
  Position decoded;
  decoded.latitude_deg =
      nearest_alike(aircraft.latitude_deg, latitude_zone, receiver.latitude_deg, latitude_zone);
  decoded.longitude_deg =
      nearest_alike(aircraft.longitude_deg, longitude_zone(aircraft.latitude_deg),
                    receiver.longitude_deg, longitude_zone(decoded.latitude_deg));
  decoded.longitude_deg = wrap_360(decoded.longitude_deg + 180) - 180;
  return decoded;
}

double FeedFaults::printed_time_s(double time_s) const {
  double shown_s = time_s + plan_->clock_offset_s;
  for (const ClockStep& step : plan_->clock_steps)
    if (time_s >= start_s_ + step.at_h * 3600) shown_s += step.step_s;
  if (plan_->time_step_s > 0)
    shown_s = std::floor(shown_s / plan_->time_step_s) * plan_->time_step_s;
  return milliseconds(shown_s);
}

void FeedFaults::put(Print print, FeedTruth& truth, std::vector<Print>& out) {
  double per_degree = 1;
  for (int i = 0; i < plan_->position_decimals; ++i) per_degree *= 10;
  for (double* at : {&print.report.latitude_deg, &print.report.longitude_deg})
    *at = static_cast<double>(whole(*at * per_degree)) / per_degree;
  ++truth.lines;
  out.push_back(print);
}

void FeedFaults::remember(const Report& report, double time_s) {
  constexpr double shortest_s = 2;  // between two positions that tell a speed
  if (last_ && time_s - last_s_ < shortest_s) return;
  if (last_) {
    north_deg_per_s_ = (report.latitude_deg - last_->latitude_deg) / (time_s - last_s_);
    east_deg_per_s_ = (report.longitude_deg - last_->longitude_deg) / (time_s - last_s_);
    has_speed_ = time_s - last_s_ < 60;
  }
  last_ = report;
  last_s_ = time_s;
}

void FeedFaults::extrapolate(std::size_t feed, double time_s, FeedTruth& truth,
                             std::vector<Print>& out) {
  if (!has_speed_ || time_s - last_s_ > plan_->extrapolate_s) return;
  Print print{time_s, feed, *last_};
  print.report.latitude_deg += north_deg_per_s_ * (time_s - last_s_);
  print.report.longitude_deg += east_deg_per_s_ * (time_s - last_s_);
  print.report.time_s = printed_time_s(time_s);
  ++truth.extrapolated;
  put(print, truth, out);
}

void FeedFaults::poll(double time_s, FeedTruth& truth, std::vector<Print>& out) {
  const auto number = static_cast<std::int64_t>(time_s / plan_->poll_s);
  if (number == poll_) return;
  poll_ = number;
  constexpr double dropped_s = 60;
  if (!newest_ || time_s - newest_s_ > dropped_s) return;
  newest_->print_s = time_s;
  put(*newest_, truth, out);
}

void FeedFaults::print_unheard(std::size_t feed, const Report& report, double time_s,
                               double bearing_deg, FeedTruth& truth, std::vector<Print>& out) {
  if (plan_->poll_s > 0) poll(time_s, truth, out);
  if (plan_->extrapolate_s > 0) {
    extrapolate(feed, time_s, truth, out);
    extrapolate(feed, time_s + 0.2, truth, out);
  }
  for (const Network& network : plan_->networks) {
    if (!lies_between(bearing_deg, network.from_deg, network.to_deg) ||
        time_s < network_s_ + network.gap_s)
      continue;
    network_s_ = time_s;
    Print print{time_s, feed, report};
    print.report.time_s = printed_time_s(time_s);
    ++truth.network;
    put(print, truth, out);
  }
}

void FeedFaults::print(std::size_t feed, const Report& heard, double time_s, const Sight& sight,
                       FeedTruth& truth, std::vector<Print>& out) {
  const FeedPlan& plan = *plan_;
  Print print{time_s, feed, heard};
  Report& report = print.report;
  report.time_s = printed_time_s(time_s);
  if (plan.jitter_m > 0) {
    constexpr double m_per_deg = 111195;
    report.latitude_deg += plan.jitter_m * random_.bell() / m_per_deg;
    report.longitude_deg +=
        plan.jitter_m * random_.bell() / (m_per_deg * sin_cos(report.latitude_deg * degree).cos);
  }
  if (plan.throttled) {
    const auto second = static_cast<std::int64_t>(report.time_s);
    if (second == last_second_) {
      ++truth.throttled;
      return;
    }
    last_second_ = second;
  }
  if (plan.wild_share > 0 && random_.chance(plan.wild_share)) {
    ++truth.wild;
    report.latitude_deg = std::clamp(report.latitude_deg + random_.uniform(-15, 15), -89.0, 89.0);
    report.longitude_deg = wrap_360(report.longitude_deg + 1 + random_.uniform(0, 358) + 180) - 180;
  } else if (plan.fold_share > 0 && sight.range_km > local_decoding_km &&
             random_.chance(plan.fold_share)) {
    const Position folded =
        decoded_locally({report.latitude_deg, report.longitude_deg},
                        {plane_->latitude_deg(), plane_->longitude_deg()}, random_.chance(0.5));
    // Beyond the limit as the crow flies, but within it in both coordinates: decoded rightly.
    if (std::fabs(folded.latitude_deg - report.latitude_deg) > 1 ||
        std::fabs(folded.longitude_deg - report.longitude_deg) > 1)
      ++truth.folded;
    report.latitude_deg = folded.latitude_deg;
    report.longitude_deg = folded.longitude_deg;
  }
  if (plan.ghost_share > 0 && random_.chance(plan.ghost_share)) {
    ++truth.ghosts;
    // Two bits, so that the ghost is not another flight's neighbour in a block of addresses.
    const auto first = random_.below(24), second = (first + 1 + random_.below(23)) % 24;
    report.address ^= 1U << first | 1U << second;
  }
  if (plan.no_altitude_share > 0 && random_.chance(plan.no_altitude_share)) {
    ++truth.no_altitude;
    report.altitude_ft.reset();
  }
  if (plan.out_of_order_share > 0 && random_.chance(plan.out_of_order_share)) {
    ++truth.late;
    print.print_s += random_.uniform(0.2, 5);
  }
  if (plan.poll_s > 0) {
    poll(time_s, truth, out);
    report.time_s = static_cast<double>(whole(report.time_s * 10)) / 10;
    newest_ = print;
    newest_s_ = time_s;
    return;
  }
  put(print, truth, out);
  if (plan.repeat_share > 0 && !plan.throttled && random_.chance(plan.repeat_share)) {
    ++truth.repeats;
    const double later_s = random_.uniform(0.05, 0.39);
    print.print_s += later_s;
    report.time_s = printed_time_s(time_s + later_s);
    put(print, truth, out);
  }
  if (plan.extrapolate_s > 0) {
    remember(heard, time_s);
    extrapolate(feed, time_s + 0.2, truth, out);
  }
}

}  // namespace roundel::simulate
