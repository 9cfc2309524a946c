#include "roundel/trial/plan.h"

#include <algorithm>
#include <cmath>

#include "analysis/pattern/placed_cells.h"
#include "roundel/pattern/gain.h"
#include "roundel/site/sightline.h"

namespace roundel::trial {
namespace {

constexpr double sector_deg = 5;
constexpr int planned_flights_per_sector = 200;
constexpr int least_planned_flights = 6;
constexpr double z95 = 1.959964;
// What two feeds hear of one flight in one sector differs by, besides chance: reflections at each
// antenna (from comparing predicted with reached precision on simulated pairs).
constexpr double own_sd_db = 0.5;
// What more hours do not narrow (see difference.cpp).
constexpr double common_plan_error_db = 0.02;

struct Side {
  std::string antenna;
  std::optional<schema::Trial> last;  // what it was last mounted on
};

Result<Side> side(const schema::Store& store, const schema::Selection& which) {
  Side out;
  const auto all = store.trials();
  if (!all) return tl::unexpected(all.error());
  if (which.antenna) {
    out.antenna = *which.antenna;
    for (const auto& one : *all)
      if (one.antenna == out.antenna) out.last = one;
    return out;
  }
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  if (trials->empty())
    return fail(Errc::too_little, "no trial is selected", "--a and --b",
                "see roundel trial list for what was mounted when");
  out.last = trials->back();
  out.antenna = out.last->antenna;
  return out;
}

// Information on a flight's level that one group's count carries.
double information(const pattern::Group& group, const pattern::LevelFit& rate, double own_db,
                   double m) {
  const double level =
      own_db + rate.level_db(group.sector, group.bearing_off_deg, group.spreading_db,
                             group.elevation_deg, group.cos_aspect);
  return pattern::told(rate.threshold, level, rate.softness_db, rate.ceiling[group.hour], m,
                       group.heard, group.chances)
      .information;
}

// Variances of sectors' differences as the hours seen would leave them; none where too few flew.
std::vector<std::optional<double>> paired_variances(const pattern::Exposure& exposure,
                                                    const pattern::LevelFit& rate, double m) {
  const auto n = static_cast<std::size_t>(exposure.n_sectors);
  std::vector<double> precision(n, 0.0);
  std::vector<int> flights(n, 0);
  for (std::size_t f = 0; f < exposure.flights.size(); ++f) {
    const auto groups = exposure.of(exposure.flights[f]);
    double sum = 0;
    for (std::size_t i = 0; i < groups.size(); ++i) {
      if (pattern::tells_level(groups[i]))
        sum += information(groups[i], rate, rate.flight_db[f], m);
      if (i + 1 < groups.size() && groups[i + 1].sector == groups[i].sector) continue;
      if (sum > 0.05) {
        precision[groups[i].sector] += 1 / (2 / sum + 2 * own_sd_db * own_sd_db);
        ++flights[groups[i].sector];
      }
      sum = 0;
    }
  }
  std::vector<std::optional<double>> out(n);
  for (std::size_t s = 0; s < n; ++s)
    if (flights[s] >= least_planned_flights) out[s] = 1 / precision[s];
  return out;
}

std::vector<PlanStep> schedule(const Side& a, const Side& b,
                               const std::vector<schema::Named>& receivers,
                               const ComparePlan& plan) {
  std::vector<PlanStep> out;
  const std::string mount_a = a.last ? a.last->mount : b.last ? b.last->mount : "";
  const std::string mount_b = b.last ? b.last->mount : mount_a;
  if (plan.both_at_once) {
    const std::string& first = receivers[0].name;
    const std::string& second = receivers[1].name;
    const bool moves = mount_a != mount_b;
    const int parts = moves ? 4 : 2;
    for (int i = 0; i < parts; ++i) {
      // Receivers change every part but the middle one, mounts half-way: each goes with each.
      const bool swaps = moves ? i == 1 || i == 2 : i == 1;
      const bool is_moved = moves && i >= 2;
      out.push_back({plan.days * i / parts,
                     plan.days * (i + 1) / parts,
                     {{a.antenna, swaps ? second : first, is_moved ? mount_b : mount_a},
                      {b.antenna, swaps ? first : second, is_moved ? mount_a : mount_b}}});
    }
    return out;
  }
  const double turn_days = plan.days >= 2 ? 1 : plan.days / 4;
  const std::string receiver = a.last ? a.last->receiver : b.last ? b.last->receiver : "";
  bool is_a = true;
  for (double day = 0; day < plan.days - 0.01; day += turn_days, is_a = !is_a)
    out.push_back({day,
                   std::min(plan.days, day + turn_days),
                   {{is_a ? a.antenna : b.antenna, receiver, mount_a}}});
  return out;
}

}  // namespace

Result<ComparePlan> plan_comparison(const schema::Store& store, const schema::Selection& a,
                                    const schema::Selection& b, double days) {
  if (!(days > 0 && days <= 365))
    return fail(Errc::bad_usage, "a plan is for more than 0 and at most 365 days", "--plan",
                "6 is usual");
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  const auto side_a = side(store, a), side_b = side(store, b);
  if (!side_a) return tl::unexpected(side_a.error());
  if (!side_b) return tl::unexpected(side_b.error());
  if (side_a->antenna == side_b->antenna)
    return fail(Errc::bad_usage, "both sides are antenna " + side_a->antenna, "--a and --b",
                "name two antennas with antenna=");
  const auto receivers = store.receivers();
  if (!receivers) return tl::unexpected(receivers.error());
  ComparePlan out;
  out.days = days;
  out.both_at_once = receivers->size() >= 2;
  out.steps = schedule(*side_a, *side_b, *receivers, out);

  // Traffic: as the antenna heard it that has heard most.
  schema::Selection seen;
  std::vector<schema::Flight> flights;
  for (const Side* one : {&*side_a, &*side_b}) {
    if (!one->last) continue;
    schema::Selection which;
    which.antenna = one->antenna;
    which.feed = one->last->feed;
    auto read = store.flights(which);
    if (!read) return tl::unexpected(read.error());
    if (read->size() <= flights.size()) continue;
    flights = std::move(*read);
    seen = which;
  }
  if (flights.empty())
    return fail(Errc::too_little, "neither antenna has heard anything yet", "--a and --b",
                "record for a day first, or name an antenna that was recorded");
  pattern::ExposureBuilder builder(*viewpoint, sector_deg);
  const auto read = pattern::each_cell_of(
      flights, store, seen, *viewpoint,
      [&](const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting) {
        builder.add(cell, flight, sighting);
      });
  if (!read) return tl::unexpected(read.error());
  const pattern::Exposure all = builder.finish();
  out.flights_seen = static_cast<std::int64_t>(all.flights.size());
  out.hours_seen = static_cast<double>(all.hours.size());
  const pattern::Exposure exposure = pattern::thinned(all, planned_flights_per_sector);
  const auto throttle = pattern::find_throttle(all);
  const auto rate = pattern::fit_rate(exposure, throttle, {});
  if (rate.gain_db.size() == 0) return out;
  // A sample stands for all flights of the hours seen.
  const double sampled = static_cast<double>(exposure.flights.size()) /
                         static_cast<double>(std::max<std::size_t>(1, all.flights.size()));
  std::vector<double> variances;
  double mean_variance = 0;
  if (out.both_at_once) {
    const double scale = sampled * out.hours_seen / (24 * days);
    for (const auto& one : paired_variances(exposure, rate, throttle.messages_per_chance)) {
      if (!one) continue;
      variances.push_back(*one * scale);
      mean_variance += *one * scale;
    }
  } else {
    const double scale = 2 * sampled * out.hours_seen / (12 * days);
    Eigen::VectorXd known = Eigen::VectorXd::Zero(rate.gain_db.size());
    for (Eigen::Index s = 0; s < known.size(); ++s) {
      if (rate.sector_flights[static_cast<std::size_t>(s)] < least_planned_flights) continue;
      known[s] = 1;
      variances.push_back(rate.covariance(s, s) * scale);
    }
    mean_variance = known.dot(rate.covariance * known) * scale;
  }
  out.sectors = static_cast<int>(variances.size());
  if (out.sectors < 3) return out;
  const double n = out.sectors;
  out.half_width_db =
      z95 * std::sqrt(mean_variance / (n * n) + common_plan_error_db * common_plan_error_db);
  std::nth_element(variances.begin(), variances.begin() + out.sectors / 2, variances.end());
  out.sector_half_width_db = z95 * std::sqrt(variances[variances.size() / 2]);
  return out;
}

}  // namespace roundel::trial
