#include "roundel/trial/sensitivity.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "analysis/trial/student_t.h"

namespace roundel::trial {
namespace {

constexpr std::int64_t seconds_per_day = 86'400;
constexpr std::size_t most_days = 28;
constexpr int fewest_earlier_days = 5, fewest_hours_a_day = 18;
/// Nearer in, nothing is lost by range; there the slope says nothing of the threshold.
constexpr double nearest_km = 50;
/// What receivers show; a slope outside is chance.
constexpr double softest_db = 10, hardest_db = 1;

using Place = std::tuple<int, int, int>;
Place place_of(const pattern::SummaryShare& share) {
  return {share.sector, share.range_bin, share.elevation_bin};
}

struct Counts {
  double heard{}, expected{};
};
/// Heard share in logits; half a report keeps it finite.
double logit(const Counts& counts) {
  return std::log((counts.heard + 0.5) / (counts.expected - counts.heard + 0.5));
}

using Counted = std::map<Place, Counts>;

Counted all_of(std::span<const SensitivityDay> days) {
  Counted out;
  for (const SensitivityDay& day : days)
    for (const auto& share : day.shares) {
      Counts& counts = out[place_of(share)];
      counts.heard += static_cast<double>(share.heard);
      counts.expected += static_cast<double>(share.expected);
    }
  return out;
}

/// dB a logit: least squares within sectors, weighted by information.
double softness_db(const Counted& all) {
  struct Sums {
    double w{}, x{}, y{}, xx{}, xy{};
  };
  std::map<int, Sums> sectors;
  for (const auto& [place, counts] : all) {
    const double range_km = (std::get<1>(place) + 0.5) * pattern::SummaryBins::range_km;
    const double p = counts.heard / counts.expected;
    if (range_km < nearest_km || counts.expected < 100 || p <= 0.02 || p >= 0.98) continue;
    const double w = counts.expected * p * (1 - p);
    const double x = -20 * std::log10(range_km), y = logit(counts);
    Sums& of = sectors[std::get<0>(place)];
    of.w += w;
    of.x += w * x;
    of.y += w * y;
    of.xx += w * x * x;
    of.xy += w * x * y;
  }
  double above = 0, below = 0;
  for (const auto& [sector, of] : sectors) {
    above += of.xy - of.x * of.y / of.w;
    below += of.xx - of.x * of.x / of.w;
  }
  const double slope = below > 0 ? above / below : 0;
  return std::clamp(slope > 0 ? 1 / slope : softest_db, hardest_db, softest_db);
}

/// The shift, in logits, that a day's counts ask for. None: they tell nothing.
std::optional<double> shift(const SensitivityDay& day, const Counted& all) {
  double delta = 0;
  for (int step = 0; step < 30; ++step) {
    double score = 0, information = 0;
    for (const auto& share : day.shares) {
      const double p = 1 / (1 + std::exp(-logit(all.at(place_of(share))) - delta));
      score += static_cast<double>(share.heard) - static_cast<double>(share.expected) * p;
      information += static_cast<double>(share.expected) * p * (1 - p);
    }
    if (information < 10) return std::nullopt;
    const double move = std::clamp(score / information, -1.0, 1.0);
    delta += move;
    if (std::abs(move) < 1e-6) return delta;
  }
  return std::nullopt;
}

}  // namespace

std::optional<SensitivityChange> sensitivity_change(std::span<const SensitivityDay> days) {
  const int n = static_cast<int>(days.size()) - 1;
  if (n < fewest_earlier_days) return std::nullopt;
  const Counted all = all_of(days);
  const double w = softness_db(all);
  std::vector<double> index_db;
  for (const SensitivityDay& day : days) {
    const auto by = shift(day, all);
    if (!by) return std::nullopt;
    index_db.push_back(*by * w);
  }
  const double last = index_db.back();
  index_db.pop_back();
  double mean = 0, squares = 0;
  for (const double value : index_db) mean += value / n;
  for (const double value : index_db) squares += (value - mean) * (value - mean);
  const double half = student_t975(n - 1) * std::sqrt(squares / (n - 1)) * std::sqrt(1 + 1.0 / n);
  const double change = last - mean;
  const std::int64_t from_s = days.back().from_s;
  return SensitivityChange{from_s, from_s + seconds_per_day, change, change - half, change + half,
                           n};
}

Result<std::optional<SensitivityChange>> sensitivity_change(const schema::Store& store,
                                                            schema::Id trial) {
  schema::Selection which;
  which.trials = {trial};
  const auto state = store.summary_state();
  if (!state) return tl::unexpected(state.error());
  const std::int64_t begin_s =
      state->before_s - static_cast<std::int64_t>(most_days) * seconds_per_day;
  which.from_s = static_cast<double>(begin_s);
  struct Block {
    int hours{};
    std::map<Place, pattern::SummaryShare> shares;
  };
  std::map<std::int64_t, Block> blocks;
  Result<void> fine;
  const auto read = store.each_summary(
      which, false, schema::SummaryPart::places, [&](const schema::Summary& stored) {
        const auto hour = pattern::read_summary(stored);
        if (!hour) {
          fine = tl::unexpected(hour.error());
          return false;
        }
        Block& block = blocks[(stored.hour_s - begin_s) / seconds_per_day];
        ++block.hours;
        for (const auto& share : hour->shares) {
          const auto [known, is_new] = block.shares.try_emplace(place_of(share), share);
          if (is_new) continue;
          known->second.heard += share.heard;
          known->second.expected += share.expected;
        }
        return true;
      });
  if (!read) return tl::unexpected(read.error());
  if (!fine) return tl::unexpected(fine.error());
  std::vector<SensitivityDay> days;
  for (const auto& [number, block] : blocks) {
    if (block.hours < fewest_hours_a_day) continue;
    SensitivityDay day{begin_s + number * seconds_per_day, {}};
    for (const auto& [place, share] : block.shares) day.shares.push_back(share);
    days.push_back(std::move(day));
  }
  // The trial has been silent since, or is another's: nothing to say of today.
  if (days.empty() || days.back().from_s + seconds_per_day < state->before_s)
    return std::optional<SensitivityChange>();
  return sensitivity_change(std::span<const SensitivityDay>(days));
}

}  // namespace roundel::trial
