#include "analysis/pattern/elevation_pattern.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "roundel/pattern/gain.h"

namespace roundel::pattern {

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto mid = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), mid, values.end());
  return *mid;
}

std::vector<Verdict::ElevationGain> elevation_pattern(const Exposure& exposure,
                                                      const LevelFit& rate,
                                                      const Throttle& throttle,
                                                      const Screen& screen, int least_flights) {
  std::vector<Verdict::ElevationGain> out;
  if (rate.gain_db.size() == 0) return out;
  constexpr std::array edges{level_lowest_deg, 1.5, 2.5, 3.5, 5.0, 7.0, 9.0, level_highest_deg};
  constexpr std::size_t bins = edges.size() - 1;
  std::array<double, bins> weight{}, sum{}, squares{}, place{};
  std::array<std::int64_t, bins> flights{};
  const double pm = median(rate.ceiling);
  for (std::uint32_t f = 0; f < exposure.flights.size(); ++f) {
    std::array<double, bins> score{}, information{}, at{}, cells{};
    for (const Group& group : exposure.of(exposure.flights[f])) {
      if (!tells_level(group)) continue;
      if (!screen.hours_out.empty() && screen.hours_out[group.hour]) continue;
      const auto edge = std::upper_bound(edges.begin(), edges.end(), group.elevation_deg);
      if (edge == edges.begin() || edge == edges.end()) continue;
      const auto& cutoff = screen.cutoff_deg[group.sector];
      if (cutoff && group.elevation_deg < *cutoff + screen.margin_deg) continue;
      const auto bin = static_cast<std::size_t>(edge - edges.begin() - 1);
      const double level = rate.gain_at(group.sector, group.bearing_off_deg) + rate.flight_db[f] +
                           group.spreading_db + dipole_db(group.elevation_deg);
      const Told count = told(Threshold::normal(), level, rate.softness_db, pm,
                              throttle.messages_per_chance, group.heard, group.chances);
      score[bin] += count.score;
      information[bin] += count.information;
      at[bin] += group.cells * static_cast<double>(group.elevation_deg);
      cells[bin] += group.cells;
    }
    for (std::size_t bin = 0; bin < bins; ++bin) {
      if (information[bin] < 0.5) continue;
      // A flight's own deviation varies by 1 dB or so: no flight counts for more than that allows.
      const double w = 1 / (1 / information[bin] + 1);
      const double value = std::clamp(score[bin] / information[bin], -10.0, 10.0);
      weight[bin] += w;
      sum[bin] += w * value;
      squares[bin] += w * w * value * value;
      place[bin] += w * at[bin] / cells[bin];
      ++flights[bin];
    }
  }
  std::optional<double> reference;
  for (std::size_t bin = 0; bin < bins; ++bin) {
    if (flights[bin] < least_flights) continue;
    const double mean = sum[bin] / weight[bin];
    if (!reference) reference = mean;
    const double spread = std::max(0.0, squares[bin] / (weight[bin] * weight[bin]) -
                                            mean * mean / static_cast<double>(flights[bin]));
    const double elevation_deg = place[bin] / weight[bin];
    out.push_back({elevation_deg, mean - *reference + dipole_db(elevation_deg), std::sqrt(spread),
                   flights[bin]});
  }
  return out;
}

}  // namespace roundel::pattern
