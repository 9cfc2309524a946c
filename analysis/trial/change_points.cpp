#include "analysis/trial/change_points.h"

#include <algorithm>
#include <cmath>
#include <span>

namespace roundel::trial {
namespace {

constexpr int orders = 2000;
constexpr double false_alarm = 0.01;
constexpr std::size_t least_units = 12;  // on either side of a change
constexpr std::size_t most_changes = 9;
constexpr std::int64_t piece_s = 3 * 3600;
constexpr std::int64_t least_pieces = 40;
constexpr std::int64_t a_day_s = 24 * 3600, least_days = 5;
constexpr double within = 6;

struct Peak {
  std::size_t at{};
  double statistic{};
};

/// What the statistic needs of all units, in whatever order they stand.
struct Whole {
  std::size_t n{};
  double weight{}, mean{};

  explicit Whole(std::span<const Unit> units) : n(units.size()) {
    double sum = 0;
    for (const Unit& one : units) weight += one.weight, sum += one.weight * one.value;
    mean = sum / weight;
  }
};

/// Of the units up to a place: their weight, and what they sum up to against the mean of all.
struct RunningSum {
  double weight{}, sum{};

  void add(const Unit& one, const Whole& whole) {
    weight += one.weight;
    sum += one.weight * (one.value - whole.mean);
  }
  double statistic(const Whole& whole) const {
    return sum * sum * whole.weight / (weight * (whole.weight - weight));
  }
};

// `all` holds the statistic at each place.
Peak scan(std::span<const Unit> units, const Whole& whole, std::vector<double>& all) {
  Peak out;
  RunningSum sums;
  for (std::size_t i = 0; i + least_units < whole.n;) {
    sums.add(units[i], whole);
    if (++i < least_units) continue;
    all[i] = sums.statistic(whole);
    if (all[i] > out.statistic) out = {i, all[i]};
  }
  return out;
}

/// Units on end, which stay together.
struct Piece {
  std::span<const Unit> units;
  RunningSum all;
  double lowest = 0, highest = 0;  ///< sum on the way through it

  Piece(std::span<const Unit> of, const Whole& whole) : units(of) {
    for (const Unit& one : units) {
      all.add(one, whole);
      lowest = std::min(lowest, all.sum);
      highest = std::max(highest, all.sum);
    }
  }

  /// Whether a unit in it may take the statistic so high, with `before` before it.
  bool may_reach(double statistic, const RunningSum& before, const Whole& whole) const {
    const double sum = std::max(before.sum + highest, -(before.sum + lowest));
    const double end = before.weight + all.weight;
    const double lesser =
        std::min(before.weight * (whole.weight - before.weight), end * (whole.weight - end));
    return sum * sum * whole.weight >= statistic * lesser;
  }
};

// Whether the statistic gets so high anywhere. Most pieces cannot take it there, which their sums
// tell: a year in two thousand orders would else take as long as all the rest.
bool reaches(double statistic, const std::vector<const Piece*>& order, const Whole& whole) {
  constexpr double rounding = 1e-9;
  statistic *= 1 - rounding;
  RunningSum sums;
  std::size_t i = 0;
  for (const Piece* const one : order) {
    const Piece& piece = *one;
    const bool may = piece.may_reach(statistic, sums, whole);
    RunningSum here = sums;
    for (std::size_t k = 0; may && k < piece.units.size(); ++k) {
      if (i + k + least_units >= whole.n) return false;
      here.add(piece.units[k], whole);
      if (i + k + 1 >= least_units && here.statistic(whole) >= statistic) return true;
    }
    i += piece.units.size();
    sums.weight += piece.all.weight;
    sums.sum += piece.all.sum;
  }
  return false;
}

/// Seeded numbers (splitmix64): a step is put in thousands of orders of hundreds of pieces.
class Draws {
 public:
  /// [0, n)
  std::size_t below(std::size_t n) {
    std::uint64_t x = state_ += 0x9e3779b97f4a7c15U;
    x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
    x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
    return (x >> 32U) * n >> 32U;
  }

 private:
  std::uint64_t state_ = 1090;
};

ChangePoint tested(std::span<const Unit> units, int tests) {
  ChangePoint out;
  if (units.size() < 3 * least_units) return out;
  std::vector<double> all(units.size(), 0.0);
  const Whole whole(units);
  const Peak peak = scan(units, whole, all);
  out.at = out.earliest = out.latest = peak.at;
  while (out.earliest > 1 && all[out.earliest - 1] > peak.statistic - within) --out.earliest;
  while (out.latest + 1 < all.size() && all[out.latest + 1] > peak.statistic - within) ++out.latest;
  // Pieces of time, as runs of units, by the time of day where the record has days enough.
  const std::int64_t span_s = units.back().time_s - units.front().time_s;
  const std::int64_t length_s = std::max<std::int64_t>(1, std::min(piece_s, span_s / least_pieces));
  const std::int64_t n_slots = span_s < least_days * a_day_s ? 1 : a_day_s / length_s;
  std::vector<std::vector<std::size_t>> slots(static_cast<std::size_t>(n_slots));
  std::vector<Piece> pieces;
  for (std::size_t begin = 0, i = 1; i <= units.size(); ++i) {
    if (i < units.size() && units[i].time_s / length_s == units[begin].time_s / length_s) continue;
    slots[static_cast<std::size_t>(units[begin].time_s / length_s % n_slots)].push_back(
        pieces.size());
    pieces.emplace_back(units.subspan(begin, i - begin), whole);
    begin = i;
  }
  std::vector<const Piece*> order;
  for (const Piece& piece : pieces) order.push_back(&piece);
  Draws draws;
  const int n_orders = orders * std::max(1, tests / 4);
  int above = 0, done = 0;
  for (; done < n_orders; ++done) {
    for (const auto& slot : slots)
      for (std::size_t i = slot.size(); i > 1; --i)
        std::swap(order[slot[i - 1]], order[slot[draws.below(i)]]);
    above += reaches(peak.statistic, order, whole);
    // It is no change, whatever the others are.
    if (tests * (above + 1.0) / (n_orders + 1.0) > false_alarm) break;
  }
  out.p = std::min(1.0, tests * (above + 1.0) / (done + 1.0));
  return out;
}

}  // namespace

std::vector<ChangePoint> change_points(const std::vector<Unit>& units, int tests) {
  std::vector<ChangePoint> out;
  std::vector<std::size_t> cuts{0, units.size()};
  for (std::size_t i = 0; i + 1 < cuts.size();) {
    ChangePoint one = tested(std::span(units).subspan(cuts[i], cuts[i + 1] - cuts[i]), tests);
    if (one.p > false_alarm || out.size() >= most_changes) {
      ++i;
      continue;
    }
    one.at += cuts[i], one.earliest += cuts[i], one.latest += cuts[i];
    cuts.insert(cuts.begin() + static_cast<std::ptrdiff_t>(i) + 1, one.at);
    out.push_back(one);
  }
  std::sort(out.begin(), out.end(), [](const auto& x, const auto& y) { return x.at < y.at; });
  return out;
}

UnitMean mean_of(const std::vector<Unit>& units, std::size_t begin, std::size_t end) {
  UnitMean out;
  double total = 0, squares = 0;
  for (std::size_t i = begin; i < end; ++i) {
    total += units[i].weight, out.value += units[i].weight * units[i].value, ++out.n;
  }
  if (out.n == 0) return out;
  out.value /= total;
  for (std::size_t i = begin; i < end; ++i)
    squares += std::pow(units[i].weight * (units[i].value - out.value), 2);
  out.variance = squares / (total * total) * out.n / std::max(1, out.n - 1);
  return out;
}

}  // namespace roundel::trial
