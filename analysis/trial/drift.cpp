#include "roundel/trial/drift.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "analysis/pattern/beside.h"
#include "analysis/trial/drift_units.h"

namespace roundel::trial {
namespace {

using Units = std::vector<Unit>;

constexpr int wedges = 12;
constexpr double z95 = 1.959964;
constexpr double least_standing_out = 3;  // standard errors
constexpr std::int64_t day_s = 86400, together_s = 6 * 3600;

// Levels are on the fitted threshold's scale, whose error flights share: their scatter tells
// nothing of it.
void set_step(DriftChange& change, const Step& step) {
  const double half =
      z95 * std::hypot(std::sqrt(step.variance), pattern::scale_error * step.value_db);
  change.step_db = step.value_db;
  change.low_db = step.value_db - half;
  change.high_db = step.value_db + half;
}

// The sectors whose step is the obstacle's. It begins and ends anywhere within a sector, and a
// neighbour may have been taken in: those at either end lose less than it takes.
SectorRun inner(SectorRun run, int n_sectors) {
  constexpr int least = 4;
  if (run.count < least) return run;
  return {(run.first + 1) % n_sectors, run.count - 2};
}

/// A change with the stretch of time about it in which no other is.
struct Candidate {
  DriftChange change;
  std::int64_t begin_s{}, end_s{};
  SectorRun where;       ///< sectors
  double clearness = 0;  ///< step^2 / variance
};

std::vector<Candidate> candidates(const Units& units, int tests) {
  const auto points = change_points(units, tests);
  std::vector<Candidate> out;
  for (std::size_t i = 0; i < points.size(); ++i) {
    Candidate one;
    one.change.time_s = units[points[i].at].time_s;
    one.change.earliest_s = units[points[i].earliest].time_s;
    one.change.latest_s = units[points[i].latest].time_s;
    one.change.probability = 1 - points[i].p;
    one.begin_s = i == 0 ? units.front().time_s : units[points[i - 1].at].time_s;
    one.end_s = i + 1 == points.size() ? units.back().time_s + 1 : units[points[i + 1].at].time_s;
    out.push_back(std::move(one));
  }
  return out;
}

std::vector<DriftDay> days(const Units& units) {
  std::vector<DriftDay> out;
  for (std::size_t begin = 0, i = 1; i <= units.size(); ++i) {
    const std::int64_t day = units[begin].time_s / day_s;
    if (i < units.size() && units[i].time_s / day_s == day) continue;
    const UnitMean at = mean_of(units, begin, i);
    begin = i;
    if (at.n < 3) continue;
    const double half = z95 * std::sqrt(at.variance);
    out.push_back({day * day_s, at.value, at.value - half, at.value + half, at.n});
  }
  return out;
}

class Finder {
 public:
  Finder(int n_sectors, const FlightLevels& levels) : levels_(levels), n_sectors_(n_sectors) {
    for (int wedge = 0; wedge < wedges; ++wedge) {
      const int first = (wedge * n_sectors_ + wedges - 1) / wedges;
      const int next = ((wedge + 1) * n_sectors_ + wedges - 1) / wedges;
      runs_.push_back({first, next - first});
    }
    of_wedge_ = levels.units(runs_);
  }

  /// Steps that all bearings share, but for a few; taken out of the wedges afterwards, so that they
  /// are not found again there.
  std::vector<DriftChange> shared(const Units& units) {
    std::vector<DriftChange> out;
    for (Candidate& one : candidates(units, 1)) {
      std::vector<std::optional<Step>> around;
      for (const Units& wedge : of_wedge_)
        around.push_back(step_at(wedge, one.change.time_s, one.begin_s, one.end_s));
      const SharedStep found = shared_step(around);
      if (!found.shared) continue;
      // Its size and error are by flight, a flight counting once in all wedges it crossed.
      const auto step = found.others.count == 0
                            ? step_at(units, one.change.time_s, one.begin_s, one.end_s)
                            : step_at(levels_.units(beside(found.others)), one.change.time_s,
                                      one.begin_s, one.end_s);
      // Where a few bearings account for most of it, what is left must stand out by itself.
      if (!step || (found.others.count > 0 &&
                    std::abs(step->value_db) < least_standing_out * std::sqrt(step->variance)))
        continue;
      set_step(one.change, *step);
      out.push_back(one.change);
    }
    for (Units& wedge : of_wedge_)
      for (Unit& one : wedge) one.value -= shared_db(out, one.time_s);
    shared_ = out;
    return out;
  }

  /// Steps in one wedge or in neighbours at once.
  std::vector<DriftChange> local() const {
    std::vector<std::vector<Candidate>> by_wedge(wedges);
    pattern::each_beside(
        wedges, [&](std::size_t wedge) { by_wedge[wedge] = candidates(of_wedge_[wedge], wedges); });
    std::vector<Candidate> found;
    for (std::size_t wedge = 0; wedge < wedges; ++wedge) {
      const auto& units = of_wedge_[wedge];
      for (Candidate& one : by_wedge[wedge]) {
        const auto step = step_at(units, one.change.time_s, one.begin_s, one.end_s);
        if (!step) continue;
        set_step(one.change, *step);
        one.where = runs_[wedge];
        one.clearness = step->value_db * step->value_db / step->variance;
        found.push_back(std::move(one));
      }
    }
    merge(found);
    std::vector<DriftChange> out;
    for (Candidate& one : found) {
      narrow(one);
      for (int i = 0; i < one.where.count; ++i)
        one.change.bearings_deg.push_back(360.0 / n_sectors_ *
                                          ((one.where.first + i) % n_sectors_ + 0.5));
      out.push_back(one.change);
    }
    return out;
  }

 private:
  static double shared_db(const std::vector<DriftChange>& changes, std::int64_t time_s) {
    double sum = 0;
    for (const DriftChange& change : changes)
      if (time_s >= change.time_s) sum += change.step_db;
    return sum;
  }

  // All sectors but those of some wedges.
  SectorRun beside(SectorRun of_wedges) const {
    int first = 0, count = 0;
    for (int i = of_wedges.count; i < wedges; ++i) {
      const SectorRun& one = runs_[static_cast<std::size_t>((of_wedges.first + i) % wedges)];
      if (count == 0) first = one.first;
      count += one.count;
    }
    return {first, count};
  }

  // Joins neighbours that step the same way at once; the clearer one says when.
  void merge(std::vector<Candidate>& found) const {
    const auto belongs = [&](const Candidate& a, const Candidate& b) {
      return (a.where.first + a.where.count) % n_sectors_ == b.where.first &&
             a.change.step_db * b.change.step_db > 0 &&
             a.change.earliest_s - together_s <= b.change.latest_s &&
             b.change.earliest_s - together_s <= a.change.latest_s;
    };
    for (bool again = true; again;) {
      again = false;
      for (std::size_t i = 0; i < found.size() && !again; ++i) {
        for (std::size_t j = 0; j < found.size() && !again; ++j) {
          if (i == j || !belongs(found[i], found[j])) continue;
          Candidate both = found[i].clearness > found[j].clearness ? found[i] : found[j];
          both.where = {found[i].where.first,
                        std::min(n_sectors_, found[i].where.count + found[j].where.count)};
          found[i] = std::move(both);
          found.erase(found.begin() + static_cast<std::ptrdiff_t>(j));
          again = true;
        }
      }
    }
  }

  // Down to the sectors that step, and half a wedge further where those beside do.
  void narrow(Candidate& one) const {
    const int margin = n_sectors_ / wedges / 2;
    SectorRun wide{(one.where.first - margin + n_sectors_) % n_sectors_,
                   std::min(n_sectors_, one.where.count + 2 * margin)};
    std::vector<std::optional<Step>> by_sector(static_cast<std::size_t>(n_sectors_));
    const auto step_among = [&](Units units) {
      for (Unit& unit : units) unit.value -= shared_db(shared_, unit.time_s);
      return step_at(units, one.change.time_s, one.begin_s, one.end_s);
    };
    const auto step_of = [&](SectorRun run) { return step_among(levels_.units(run)); };
    std::vector<SectorRun> sectors;
    for (int i = 0; i < wide.count; ++i) sectors.push_back({(wide.first + i) % n_sectors_, 1});
    std::vector<Units> units = levels_.units(sectors);
    for (std::size_t i = 0; i < sectors.size(); ++i)
      by_sector[static_cast<std::size_t>(sectors[i].first)] = step_among(std::move(units[i]));
    const SectorRun run = stepping_run(by_sector, wide);
    auto step = step_of(inner(run, n_sectors_));
    if (!step) step = step_of(run);
    if (!step || step->value_db * one.change.step_db <= 0) return;
    one.where = run;
    set_step(one.change, *step);
  }

  const FlightLevels& levels_;
  int n_sectors_;
  std::vector<SectorRun> runs_;
  std::vector<Units> of_wedge_;
  std::vector<DriftChange> shared_;
};

}  // namespace

Drift find_drift(const pattern::Exposure& exposure) {
  return find_drift(LevelRecord::of(exposure));
}

Drift find_drift(const LevelRecord& record) {
  Drift out;
  const FlightLevels levels(record);
  if (levels.empty()) return out;
  Units units = levels.units();
  if (units.empty()) return out;
  const double mean = mean_of(units, 0, units.size()).value;
  for (Unit& one : units) one.value -= mean;
  out.flights = static_cast<std::int64_t>(units.size());
  out.days = days(units);
  Finder finder(record.n_sectors(), levels);
  out.changes = finder.shared(units);
  for (DriftChange& change : finder.local()) out.changes.push_back(std::move(change));
  std::stable_sort(out.changes.begin(), out.changes.end(),
                   [](const auto& x, const auto& y) { return x.time_s < y.time_s; });
  return out;
}

}  // namespace roundel::trial
