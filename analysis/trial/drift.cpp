#include "roundel/trial/drift.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <optional>
#include <random>

namespace roundel::trial {
namespace {

using pattern::Exposure;

constexpr int orders = 2000;
constexpr double false_alarm = 0.02;
constexpr std::size_t least_units = 12;  // on either side of a change
constexpr int wedges = 12;
constexpr double z95 = 1.959964;

// What one flight says: its level against the model.
struct Unit {
  std::int64_t time_s{};
  double value{}, weight{};
};

struct Step {
  std::size_t at{};  // first unit after it
  std::size_t earliest{}, latest{};
  double statistic{}, p = 1;
};

// Largest standardised CUSUM of the units [begin, end).
Step scan(const std::vector<double>& weight, const std::vector<double>& value) {
  Step out;
  const std::size_t n = value.size();
  double total = 0, sum = 0;
  for (std::size_t i = 0; i < n; ++i) total += weight[i], sum += weight[i] * value[i];
  const double mean = sum / total;
  double w = 0, s = 0;
  std::vector<double> all(n, 0.0);
  for (std::size_t i = 0; i + least_units < n; ++i) {
    w += weight[i];
    s += weight[i] * (value[i] - mean);
    if (i + 1 < least_units) continue;
    all[i + 1] = s * s * total / (w * (total - w));
    if (all[i + 1] > out.statistic) out.statistic = all[i + 1], out.at = i + 1;
  }
  out.earliest = out.latest = out.at;
  while (out.earliest > 1 && all[out.earliest - 1] > out.statistic - 6) --out.earliest;
  while (out.latest + 1 < n && all[out.latest + 1] > out.statistic - 6) ++out.latest;
  return out;
}

Step tested(const std::vector<Unit>& units, std::size_t begin, std::size_t end, int tests) {
  std::vector<double> weight, value;
  for (std::size_t i = begin; i < end; ++i)
    weight.push_back(units[i].weight), value.push_back(units[i].value);
  if (value.size() < 3 * least_units) return {};
  Step out = scan(weight, value);
  std::mt19937_64 random(1090);
  std::vector<std::size_t> order(value.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  const int n_orders = orders * std::max(1, tests / 4);
  int above = 0, done = 0;
  std::vector<double> w(value.size()), v(value.size());
  for (; done < n_orders; ++done) {
    for (std::size_t i = order.size() - 1; i > 0; --i)
      std::swap(order[i], order[random() % (i + 1)]);
    for (std::size_t i = 0; i < order.size(); ++i) w[i] = weight[order[i]], v[i] = value[order[i]];
    above += scan(w, v).statistic >= out.statistic;
    if (above > 40) break;  // plainly nothing
  }
  out.p = std::min(1.0, tests * (above + 1.0) / (done + 1.0));
  out.at += begin, out.earliest += begin, out.latest += begin;
  return out;
}

struct Mean {
  double value{}, variance{};
  int n{};
};
// Weighted mean with an error from the scatter of the units.
template <class Of>
Mean mean_of(const std::vector<Unit>& units, std::size_t begin, std::size_t end, const Of& of) {
  Mean out;
  double total = 0, squares = 0;
  for (std::size_t i = begin; i < end; ++i) {
    if (!of(units[i])) continue;
    total += units[i].weight, out.value += units[i].weight * units[i].value, ++out.n;
  }
  if (out.n == 0) return out;
  out.value /= total;
  for (std::size_t i = begin; i < end; ++i)
    if (of(units[i])) squares += std::pow(units[i].weight * (units[i].value - out.value), 2);
  out.variance = squares / (total * total) * out.n / std::max(1, out.n - 1);
  return out;
}
Mean mean_of(const std::vector<Unit>& units, std::size_t begin, std::size_t end) {
  return mean_of(units, begin, end, [](const Unit&) { return true; });
}

// Binary segmentation; removes what it finds from `units`.
void find_steps(std::vector<Unit>& units, std::vector<double> bearings_deg, int tests,
                std::vector<DriftChange>& out) {
  std::vector<std::size_t> cuts{0, units.size()};
  std::map<std::size_t, Step> found;
  for (std::size_t i = 0; i + 1 < cuts.size();) {
    const Step step = tested(units, cuts[i], cuts[i + 1], tests);
    if (step.p > false_alarm || found.size() > 8) {
      ++i;
      continue;
    }
    found[step.at] = step;
    cuts.insert(cuts.begin() + static_cast<std::ptrdiff_t>(i) + 1, step.at);
  }
  std::vector<Mean> level;
  for (std::size_t i = 0; i + 1 < cuts.size(); ++i)
    level.push_back(mean_of(units, cuts[i], cuts[i + 1]));
  for (std::size_t i = 1; i + 1 < cuts.size(); ++i) {
    const Step& step = found[cuts[i]];
    DriftChange change;
    change.time_s = units[step.at].time_s;
    change.earliest_s = units[step.earliest].time_s;
    change.latest_s = units[step.latest].time_s;
    change.step_db = level[i].value - level[i - 1].value;
    const double half = z95 * std::sqrt(level[i].variance + level[i - 1].variance);
    change.low_db = change.step_db - half;
    change.high_db = change.step_db + half;
    change.bearings_deg = bearings_deg;
    change.probability = 1 - step.p;
    out.push_back(std::move(change));
  }
  for (std::size_t i = 0; i + 1 < cuts.size(); ++i)
    for (std::size_t u = cuts[i]; u < cuts[i + 1]; ++u) units[u].value -= level[i].value;
}

struct Slope {
  double score{}, information{}, time{}, chances{};
};
void add(Slope& sum, const pattern::Group& group, const pattern::LevelFit& rate, double m,
         double time_s) {
  const double x = group.spreading_db + pattern::dipole_db(group.elevation_deg);
  const double level = rate.gain_db[group.sector] + x + rate.beta[0] * group.cos_aspect +
                       rate.beta[1] * (2 * group.cos_aspect * group.cos_aspect - 1);
  const double share = 1 / (1 + std::exp(-std::clamp(level / rate.softness_db, -20.0, 20.0)));
  const double p = rate.ceiling[group.hour] * share, n = group.chances / m;
  const double missed = std::pow(1 - p, m - 1);
  const double q = std::clamp(1 - missed * (1 - p), 1e-6, 1 - 1e-6);
  const double dq = m * missed * p * (1 - share) / rate.softness_db;
  sum.score += (std::min<double>(group.heard, n) - n * q) * dq / (q * (1 - q));
  sum.information += n * dq * dq / (q * (1 - q));
  sum.time += group.chances * time_s;
  sum.chances += group.chances;
}

bool usable(const pattern::Group& group) {
  return group.kind == pattern::GroupKind::recorded && group.horizon_ratio <= 0.92F &&
         group.elevation_deg >= 0.5F && group.elevation_deg <= 12 && group.chances > 0;
}

// A flight's maximum-likelihood level over the groups that `of` takes.
template <class Of>
std::optional<Unit> unit(const Exposure& exposure, const pattern::FlightGroups& flight,
                         const pattern::LevelFit& rate, double m, double spread_db, const Of& of) {
  double level = 0;
  Slope sum;
  pattern::LevelFit const& fit = rate;
  for (int i = 0; i < 6; ++i) {
    sum = {};
    for (pattern::Group group : exposure.of(flight)) {
      if (!usable(group) || !of(group)) continue;
      group.spreading_db += static_cast<float>(level);
      add(sum, group, fit, m, static_cast<double>(exposure.hours[group.hour].start_s) + 1800.0);
    }
    if (sum.information < 0.02) return std::nullopt;
    const double prior = 1 / (spread_db * spread_db);
    const double step =
        std::clamp((sum.score - prior * level) / (sum.information + prior), -3.0, 3.0);
    level += step;
    if (std::abs(step) < 0.01) break;
  }
  Unit out;
  out.time_s = static_cast<std::int64_t>(sum.time / sum.chances);
  // The prior that kept the estimate finite is taken out of it again.
  const double prior = 1 / (spread_db * spread_db);
  const double kept = sum.information / (sum.information + prior);
  out.value = level / kept;
  out.weight = 1 / (1 / sum.information + spread_db * spread_db);
  return out;
}

}  // namespace

Drift find_drift(const Exposure& exposure) {
  Drift out;
  const auto throttle = pattern::find_throttle(exposure);
  // Gains and scale from a sample suffice: every flight is held against them below.
  const auto rate = pattern::fit_rate(pattern::thinned(exposure, 400), throttle, {});
  if (rate.gain_db.size() == 0) return out;
  const double m = throttle.messages_per_chance;
  const double spread_db = std::max(1.0, std::hypot(rate.sigma_flight_db, rate.sigma_block_db));
  std::vector<Unit> units;
  for (const auto& flight : exposure.flights) {
    const auto one = unit(exposure, flight, rate, m, spread_db, [](const auto&) { return true; });
    if (!one) continue;
    units.push_back(*one);
  }
  if (units.empty()) return out;
  std::stable_sort(units.begin(), units.end(),
                   [](const Unit& x, const Unit& y) { return x.time_s < y.time_s; });
  const double mean = mean_of(units, 0, units.size()).value;
  for (Unit& one : units) one.value -= mean;
  out.flights = static_cast<std::int64_t>(units.size());
  constexpr std::int64_t day_s = 86400;
  for (std::int64_t day = units.front().time_s / day_s; day <= units.back().time_s / day_s; ++day) {
    const auto at =
        mean_of(units, 0, units.size(), [&](const Unit& one) { return one.time_s / day_s == day; });
    if (at.n < 3) continue;
    const double half = z95 * std::sqrt(at.variance);
    out.days.push_back({day * day_s, at.value, at.value - half, at.value + half, at.n});
  }
  find_steps(units, {}, 1, out.changes);
  const std::vector<DriftChange> shared = out.changes;
  // What all bearings share is taken out of each wedge, so that it is not found again in it.
  for (int wedge = 0; wedge < wedges; ++wedge) {
    std::vector<Unit> of_wedge;
    const auto inside = [&](const pattern::Group& group) {
      return static_cast<int>(group.sector * wedges / exposure.n_sectors) == wedge;
    };
    for (const auto& flight : exposure.flights) {
      auto one = unit(exposure, flight, rate, m, spread_db, inside);
      if (!one) continue;
      for (const DriftChange& change : shared)
        if (one->time_s >= change.time_s) one->value -= change.step_db;
      of_wedge.push_back(*one);
    }
    std::stable_sort(of_wedge.begin(), of_wedge.end(),
                     [](const Unit& x, const Unit& y) { return x.time_s < y.time_s; });
    std::vector<double> bearings_deg;
    for (int s = 0; s < exposure.n_sectors; ++s)
      if (s * wedges / exposure.n_sectors == wedge)
        bearings_deg.push_back(exposure.sector_deg * (s + 0.5));
    find_steps(of_wedge, bearings_deg, wedges, out.changes);
  }
  std::stable_sort(out.changes.begin(), out.changes.end(),
                   [](const auto& x, const auto& y) { return x.time_s < y.time_s; });
  return out;
}

Result<Drift> drift(const schema::Store& store, const schema::Selection& which) {
  const auto viewpoint = site::Viewpoint::of(store);
  if (!viewpoint) return tl::unexpected(viewpoint.error());
  const auto trials = store.trials(which);
  if (!trials) return tl::unexpected(trials.error());
  for (const auto& one : *trials) {
    const auto& first = trials->front();
    if (one.antenna == first.antenna && one.receiver == first.receiver &&
        one.mount == first.mount && one.rotation_deg == first.rotation_deg)
      continue;
    return fail(Errc::bad_usage,
                "the selection holds different arrangements, whose difference is no drift",
                "trials " + std::to_string(first.id) + " and " + std::to_string(one.id),
                "choose one with --antenna, --receiver, --mount or --trial");
  }
  const auto flights = store.flights(which);
  if (!flights) return tl::unexpected(flights.error());
  if (flights->empty())
    return fail(Errc::too_little, "nothing was heard in the trials selected", "",
                "wait for traffic, or choose others");
  pattern::ExposureBuilder builder(*viewpoint, 5);
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    if (const auto* flight = schema::find_flight(*flights, cell.flight)) builder.add(cell, *flight);
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  const auto exposure = builder.finish();
  Drift out = find_drift(exposure);
  const auto notes = store.notes();
  if (!notes) return tl::unexpected(notes.error());
  for (const auto& note : *notes)
    if (exposure.from_s && note.time_s >= *exposure.from_s && note.time_s <= *exposure.to_s)
      out.notes.push_back(note);
  return out;
}

}  // namespace roundel::trial
