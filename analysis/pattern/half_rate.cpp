#include "analysis/pattern/half_rate.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <random>

#include "roundel/wide.h"

namespace roundel::pattern {
namespace {

constexpr std::size_t n_bins = RateByRange::n_bins, n_groups = RateByRange::n_groups;

// Eight counts side by side; four of these are added up at a time, without going through memory.
using Lanes = float __attribute__((vector_size(32)));
constexpr std::size_t n_lanes = 8, n_beside = 4, n_counts = 2 * n_bins / n_lanes;
static_assert(2 * n_bins % (n_lanes * n_beside) == 0);

// Heard, then expected, of one group of flights or of some: sums of them are as good in single
// precision.
struct Bins {
  std::array<Lanes, n_counts> counts{};
  void set(std::size_t bin, std::uint32_t heard, std::uint32_t expected) {
    counts[bin / n_lanes][bin % n_lanes] = static_cast<float>(heard);
    counts[(n_bins + bin) / n_lanes][bin % n_lanes] = static_cast<float>(expected);
  }
  float heard(std::size_t bin) const { return counts[bin / n_lanes][bin % n_lanes]; }
  float expected(std::size_t bin) const { return counts[(n_bins + bin) / n_lanes][bin % n_lanes]; }
};
using Groups = std::array<Bins, n_groups>;
using Times = std::array<float, n_groups>;  // that each group counts

ROUNDEL_WIDE
void sum_of_groups(const Groups& groups, const Times& times, Bins& out) {
  for (std::size_t i = 0; i < n_counts; i += n_beside) {
    Lanes a{}, b{}, c{}, d{};
    for (std::size_t group = 0; group < n_groups; ++group) {
      const Lanes* const of = &groups[group].counts[i];
      a += times[group] * of[0];
      b += times[group] * of[1];
      c += times[group] * of[2];
      d += times[group] * of[3];
    }
    out.counts[i] = a;
    out.counts[i + 1] = b;
    out.counts[i + 2] = c;
    out.counts[i + 3] = d;
  }
}

constexpr std::size_t n_resamples = 400;

// The same for every sector.
std::array<Times, n_resamples> draw() {
  std::mt19937_64 random(1090);
  std::array<Times, n_resamples> out{};
  for (Times& times : out)
    for (std::size_t i = 0; i < n_groups; ++i) ++times[random() % n_groups];
  return out;
}

/// Where the non-increasing fit to heard / expected crosses one half, between the middles of bins;
/// infinite where it stays above, none where it starts below or there is nothing.
std::optional<double> crossing_km(const Bins& bins) {
  // Pool adjacent violators: blocks of bins with non-increasing share.
  struct Block {
    double heard, expected;
    std::size_t first, last;
    double share() const { return heard / expected; }
  };
  std::array<Block, n_bins> blocks;  // NOLINT(*-member-init): n of them are
  std::size_t n = 0;
  for (std::size_t i = 0; i < n_bins; ++i) {
    if (bins.expected(i) <= 0) continue;
    blocks[n++] = {bins.heard(i), bins.expected(i), i, i};
    while (n > 1 && blocks[n - 2].heard * blocks[n - 1].expected <
                        blocks[n - 1].heard * blocks[n - 2].expected) {
      blocks[n - 2].heard += blocks[n - 1].heard;
      blocks[n - 2].expected += blocks[n - 1].expected;
      blocks[n - 2].last = blocks[n - 1].last;
      --n;
    }
  }
  if (n == 0 || blocks[0].share() < 0.5) return std::nullopt;
  const auto middle_km = [](std::size_t bin) {
    return (static_cast<double>(bin) + 0.5) * RateByRange::bin_km;
  };
  for (std::size_t i = 1; i < n; ++i) {
    const double share = blocks[i].share();
    if (share >= 0.5) continue;
    const double before = blocks[i - 1].share();
    const double from_km = middle_km(blocks[i - 1].last);
    const double to_km = middle_km(blocks[i].first);
    return from_km + (to_km - from_km) * (before - 0.5) / (before - share);
  }
  return std::numeric_limits<double>::infinity();
}

}  // namespace

RateByRange::RateByRange(int n_sectors)
    : counts_(static_cast<std::size_t>(n_sectors) * n_groups * n_bins) {}

std::optional<HalfRate> RateByRange::half_rate(int sector, bool with_interval) const {
  Groups groups;
  const Count* count = &counts_[static_cast<std::size_t>(sector) * n_groups * n_bins];
  for (Bins& group : groups) {
    for (std::size_t i = 0; i < n_bins; ++i, ++count) {
      group.set(i, count->heard, count->expected);
    }
  }
  Bins sum;
  Times once{};
  once.fill(1);
  sum_of_groups(groups, once, sum);
  const auto range_km = crossing_km(sum);
  if (!range_km || std::isinf(*range_km)) return std::nullopt;
  HalfRate out;
  out.range_km = *range_km;
  if (!with_interval) return out;

  static const std::array<Times, n_resamples> draws = draw();
  std::vector<double> resampled;
  resampled.reserve(n_resamples);
  for (const Times& times : draws) {
    sum_of_groups(groups, times, sum);
    // A share that starts below one half says "nearer than the nearest bin".
    resampled.push_back(crossing_km(sum).value_or(0));
  }
  std::sort(resampled.begin(), resampled.end());
  const double low_km = resampled[n_resamples / 40];
  const double high_km = resampled[n_resamples - 1 - n_resamples / 40];
  out.low_km = std::min(low_km, *range_km);
  if (!std::isinf(high_km)) out.high_km = std::max(high_km, *range_km);
  return out;
}

}  // namespace roundel::pattern
