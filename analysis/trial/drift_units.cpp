#include "analysis/trial/drift_units.h"

#include <algorithm>
#include <cmath>

#include "analysis/pattern/beside.h"

namespace roundel::trial {
namespace {

constexpr int flights_per_sector = 400;
constexpr std::size_t flights_at_once = 512;
constexpr int least_on_a_side = 5;
constexpr double least_information = 0.02;

}  // namespace

FlightLevels::FlightLevels(const pattern::Exposure& exposure) : exposure_(exposure) {
  const auto throttle = pattern::find_throttle(exposure);
  // Gains and scale from a sample suffice: every flight is held against them below.
  rate_ = pattern::fit_rate(pattern::thinned(exposure, flights_per_sector), throttle, {});
  messages_per_chance_ = throttle.messages_per_chance;
  spread_db_ = std::max(1.0, std::hypot(rate_.sigma_flight_db, rate_.sigma_block_db));
}

FlightLevels::Row FlightLevels::row_of(const pattern::Group& group) const {
  const double x = group.spreading_db + pattern::dipole_db(group.elevation_deg);
  return {
      rate_.gain_at(group.sector, group.bearing_off_deg) + x + rate_.beta[0] * group.cos_aspect +
          rate_.beta[1] * (2 * group.cos_aspect * group.cos_aspect - 1),
      rate_.ceiling[group.hour], static_cast<double>(group.heard),
      static_cast<double>(group.chances), static_cast<double>(exposure_.hours[group.hour].start_s)};
}

// Maximum likelihood, with a prior that keeps it finite and is taken out again at the end.
std::optional<Unit> FlightLevels::unit(const pattern::FlightGroups& flight, SectorRun run,
                                       std::vector<Row>& rows) const {
  rows.clear();
  double time = 0, chances = 0;
  for (const pattern::Group& group : exposure_.of(flight))
    if (run.holds(group.sector, exposure_.n_sectors) && pattern::tells_level(group)) {
      const Row& row = rows.emplace_back(row_of(group));
      time += row.chances * (row.start_s + 1800.0);
      chances += row.chances;
    }
  const double prior = 1 / (spread_db_ * spread_db_);
  double level = 0, information = 0;
  for (int i = 0; i < 6; ++i) {
    double score = 0;
    information = 0;
    for (const Row& row : rows) {
      const pattern::Told count =
          pattern::told(pattern::Threshold::logistic(), row.level_db + level, rate_.softness_db,
                        row.ceiling, messages_per_chance_, row.heard, row.chances);
      score += count.score;
      information += count.information;
    }
    if (information < least_information) return std::nullopt;
    const double step = std::clamp((score - prior * level) / (information + prior), -3.0, 3.0);
    level += step;
    if (std::abs(step) < 0.01) break;
  }
  Unit out;
  out.time_s = static_cast<std::int64_t>(time / chances);
  out.value = level * (information + prior) / information;
  out.weight = 1 / (1 / information + spread_db_ * spread_db_);
  return out;
}

std::vector<Unit> FlightLevels::units(SectorRun run) const {
  const std::size_t n = exposure_.flights.size();
  std::vector<std::vector<Unit>> parts((n + flights_at_once - 1) / flights_at_once);
  pattern::each_beside(parts.size(), [&](std::size_t part) {
    std::vector<Row> rows;
    const std::size_t end = std::min(n, (part + 1) * flights_at_once);
    for (std::size_t f = part * flights_at_once; f < end; ++f)
      if (const auto one = unit(exposure_.flights[f], run, rows)) parts[part].push_back(*one);
  });
  std::vector<Unit> out;
  for (const auto& part : parts) out.insert(out.end(), part.begin(), part.end());
  std::stable_sort(out.begin(), out.end(),
                   [](const Unit& x, const Unit& y) { return x.time_s < y.time_s; });
  return out;
}

std::optional<Step> step_at(const std::vector<Unit>& units, std::int64_t time_s,
                            std::int64_t begin_s, std::int64_t end_s) {
  const auto place = [&](std::int64_t at_s) {
    return static_cast<std::size_t>(
        std::lower_bound(units.begin(), units.end(), at_s,
                         [](const Unit& one, std::int64_t at) { return one.time_s < at; }) -
        units.begin());
  };
  const std::size_t middle = place(time_s);
  const UnitMean before = mean_of(units, place(begin_s), middle);
  const UnitMean after = mean_of(units, middle, place(end_s));
  if (before.n < least_on_a_side || after.n < least_on_a_side) return std::nullopt;
  return Step{after.value - before.value, before.variance + after.variance};
}

SharedStep shared_step(const std::vector<std::optional<Step>>& around) {
  const int n = static_cast<int>(around.size());
  int known = 0;
  for (const auto& one : around) known += one.has_value();
  SharedStep best;
  if (known < 4) return best;
  const double price = std::log(known);
  double least = 1e300;
  for (const bool is_shared : {false, true}) {
    for (int count = 0; count <= n / 2; ++count) {
      for (int first = 0; first < (count == 0 ? 1 : n); ++first) {
        const SectorRun run{first, count};
        double sum = 0, weight = 0, chi2 = 0, parameters = count + (is_shared ? 1 : 0);
        for (int i = 0; i < n; ++i) {
          const auto& one = around[static_cast<std::size_t>(i)];
          if (!one || run.holds(i, n)) continue;
          sum += one->value_db / one->variance, weight += 1 / one->variance;
          chi2 += one->value_db * one->value_db / one->variance;
        }
        if (is_shared && weight > 0) chi2 -= sum * sum / weight;
        const double total = chi2 + price * parameters;
        if (total >= least || weight == 0) continue;
        least = total;
        best.others = run;
        best.shared.reset();
        if (is_shared) best.shared = Step{sum / weight, 1 / weight};
      }
    }
  }
  return best;
}

SectorRun stepping_run(const std::vector<std::optional<Step>>& by_sector, SectorRun all) {
  const int n = static_cast<int>(by_sector.size());
  SectorRun best = all;
  double most = -1;
  for (int from = 0; from + 2 <= all.count; ++from) {
    double sum = 0, weight = 0;
    for (int to = from; to < all.count; ++to) {
      const auto& one = by_sector[static_cast<std::size_t>((all.first + to) % n)];
      if (one) sum += one->value_db / one->variance, weight += 1 / one->variance;
      if (to == from || weight == 0) continue;
      // What the constant step betters chi-squared by.
      if (sum * sum / weight <= most) continue;
      most = sum * sum / weight;
      best = {(all.first + from) % n, to - from + 1};
    }
  }
  return best;
}

}  // namespace roundel::trial
