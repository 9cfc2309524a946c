#include "analysis/trial/drift_units.h"

#include <algorithm>
#include <cmath>

#include "analysis/pattern/beside.h"

namespace roundel::trial {
namespace {

constexpr int fitted_flights_per_sector = 150;
constexpr std::size_t flights_at_once = 512;
constexpr int least_on_a_side = 5;
constexpr double least_information = 0.02;

void sort_by_time(std::vector<Unit>& units) {
  std::stable_sort(units.begin(), units.end(),
                   [](const Unit& x, const Unit& y) { return x.time_s < y.time_s; });
}

}  // namespace

FlightLevels::FlightLevels(const LevelRecord& record) : record_(record) {
  // Gains and scale from a sample suffice: every flight is held against them below, before a change
  // and after it.
  const pattern::Exposure some = record.sample(fitted_flights_per_sector);
  const auto throttle = pattern::find_throttle(some);
  rate_ = pattern::fit_rate(some, throttle, {});
  if (empty()) return;
  messages_per_chance_ = throttle.messages_per_chance;
  spread_db_ = std::max(1.0, std::hypot(rate_.sigma_flight_db, rate_.sigma_block_db));
}

void FlightLevels::add(const pattern::LevelGroup& group, Counts& to) const {
  const double level_db = rate_.level_db(group.sector, group.bearing_off_deg, group.spreading_db,
                                         group.elevation_deg, group.cos_aspect);
  to.rows.push_back({level_db, rate_.ceiling[group.hour], static_cast<double>(group.heard),
                     static_cast<double>(group.chances)});
  to.time += group.chances * (static_cast<double>(record_.hour_s(group.hour)) + 1800.0);
  to.chances += group.chances;
}

// Maximum likelihood, with a prior that keeps it finite and is taken out again at the end.
std::optional<Unit> FlightLevels::unit(const Counts& counts) const {
  const double prior = 1 / (spread_db_ * spread_db_);
  double level = 0, information = 0;
  for (int i = 0; i < 6; ++i) {
    pattern::Told all;
    for (const Counts::Row& row : counts.rows) {
      const pattern::Told one =
          pattern::told(rate_.threshold, row.level_db + level, rate_.softness_db, row.ceiling,
                        messages_per_chance_, row.heard, row.chances);
      all.score += one.score;
      all.information += one.information;
    }
    information = all.information;
    if (information < least_information) return std::nullopt;
    const double step = std::clamp((all.score - prior * level) / (information + prior), -3.0, 3.0);
    level += step;
    if (std::abs(step) < 0.01) break;
  }
  Unit out;
  out.time_s = static_cast<std::int64_t>(counts.time / counts.chances);
  out.value = level * (information + prior) / information;
  out.weight = 1 / (1 / information + spread_db_ * spread_db_);
  return out;
}

std::vector<std::vector<Unit>> FlightLevels::units(std::span<const SectorRun> runs) const {
  std::vector<std::size_t> run_of(static_cast<std::size_t>(record_.n_sectors()), runs.size());
  for (std::size_t r = 0; r < runs.size(); ++r)
    for (int i = 0; i < runs[r].count; ++i)
      run_of[static_cast<std::size_t>((runs[r].first + i) % record_.n_sectors())] = r;
  const std::size_t n = record_.n_flights();
  std::vector<std::vector<std::vector<Unit>>> parts((n + flights_at_once - 1) / flights_at_once);
  pattern::each_beside(parts.size(), [&](std::size_t part) {
    std::vector<Counts> counts(runs.size() + 1);
    parts[part].resize(runs.size());
    const std::size_t end = std::min(n, (part + 1) * flights_at_once);
    for (std::size_t f = part * flights_at_once; f < end; ++f) {
      record_.each_part(f, [&](std::span<const pattern::LevelGroup> groups) {
        for (const pattern::LevelGroup& group : groups)
          if (const std::size_t r = run_of[group.sector]; r < runs.size()) add(group, counts[r]);
      });
      for (std::size_t r = 0; r < runs.size(); ++r) {
        if (counts[r].rows.empty()) continue;
        if (const auto one = unit(counts[r])) parts[part][r].push_back(*one);
        counts[r] = {};
      }
    }
  });
  std::vector<std::vector<Unit>> out(runs.size());
  pattern::each_beside(runs.size(), [&](std::size_t r) {
    for (const auto& part : parts) out[r].insert(out[r].end(), part[r].begin(), part[r].end());
    sort_by_time(out[r]);
  });
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
