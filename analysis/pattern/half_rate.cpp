#include "analysis/pattern/half_rate.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <random>

namespace roundel::pattern {
namespace {

struct Bin {
  double heard, expected;
};
using Bins = std::array<Bin, RateByRange::n_bins>;

/// Where the non-increasing fit to heard / expected crosses one half, between the middles of bins;
/// infinite where it stays above, none where it starts below or there is nothing.
std::optional<double> crossing_km(const Bins& bins) {
  // Pool adjacent violators: blocks of bins with non-increasing share.
  struct Block {
    double heard, expected;
    int first, last;
    double share() const { return heard / expected; }
  };
  std::array<Block, RateByRange::n_bins> blocks{};
  std::size_t n = 0;
  for (int i = 0; i < RateByRange::n_bins; ++i) {
    const Bin& bin = bins[static_cast<std::size_t>(i)];
    if (bin.expected <= 0) continue;
    blocks[n++] = {bin.heard, bin.expected, i, i};
    while (n > 1 && blocks[n - 2].share() < blocks[n - 1].share()) {
      blocks[n - 2].heard += blocks[n - 1].heard;
      blocks[n - 2].expected += blocks[n - 1].expected;
      blocks[n - 2].last = blocks[n - 1].last;
      --n;
    }
  }
  if (n == 0 || blocks[0].share() < 0.5) return std::nullopt;
  const auto middle_km = [](int bin) { return (bin + 0.5) * RateByRange::bin_km; };
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

std::optional<HalfRate> RateByRange::half_rate(int sector) const {
  const Count* const of_sector =
      &counts_[static_cast<std::size_t>(sector) * n_groups * static_cast<std::size_t>(n_bins)];
  const auto sum = [&](const std::array<int, n_groups>& times) {
    Bins bins{};
    for (std::size_t group = 0; group < n_groups; ++group) {
      if (times[group] == 0) continue;
      const Count* count = of_sector + group * n_bins;
      for (Bin& bin : bins) {
        bin.heard += times[group] * static_cast<double>(count->heard);
        bin.expected += times[group] * static_cast<double>(count->expected);
        ++count;
      }
    }
    return bins;
  };
  std::array<int, n_groups> once{};
  once.fill(1);
  const auto range_km = crossing_km(sum(once));
  if (!range_km || std::isinf(*range_km)) return std::nullopt;

  constexpr std::size_t n_resamples = 400;
  std::mt19937_64 random(1090);
  std::vector<double> resampled;
  resampled.reserve(n_resamples);
  for (std::size_t i = 0; i < n_resamples; ++i) {
    std::array<int, n_groups> times{};
    for (int draw = 0; draw < n_groups; ++draw) ++times[random() % n_groups];
    // A share that starts below one half says "nearer than the nearest bin".
    resampled.push_back(crossing_km(sum(times)).value_or(0));
  }
  std::sort(resampled.begin(), resampled.end());
  const double low_km = resampled[n_resamples / 40];
  const double high_km = resampled[n_resamples - 1 - n_resamples / 40];
  HalfRate out;
  out.range_km = *range_km;
  out.low_km = std::min(low_km, *range_km);
  if (!std::isinf(high_km)) out.high_km = std::max(high_km, *range_km);
  return out;
}

}  // namespace roundel::pattern
