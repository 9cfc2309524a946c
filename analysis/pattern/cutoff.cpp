#include "roundel/pattern/cutoff.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

#include "analysis/pattern/beside.h"

namespace roundel::pattern {
namespace {

constexpr double lowest_deg = -0.6, highest_deg = 12.0, step_deg = 0.1;
constexpr int n_elevations = 126;  // (highest - lowest) / step
constexpr double level_low_db = -24, level_high_db = 30, level_step_db = 1.0;
constexpr int n_levels = 54;
constexpr double gain_low_db = -18, gain_step_db = 1.0;  // around the pattern's mean
constexpr int n_gains = 31;
constexpr std::array leaks{0.003, 0.15, 0.3, 0.5};
constexpr double chances_a_cell = 3;
constexpr double beyond_weight = 0.25;
constexpr double inner_horizon = 0.95;
constexpr int jackknife_parts = 20;
constexpr double flight_spread_db = 1.5;  // what is left unknown of a flight's level in one sector

// One row of evidence: cells of one flight at one level and elevation.
struct Evidence {
  std::uint16_t level_bin{}, elevation_bin{};
  std::uint32_t flight{};
  float heard{}, missed{};  // effective chances
};

struct Counts {
  double heard{}, missed{};
};

// log of heard and missed probabilities by gain + level bin.
class Chance {
 public:
  Chance(const LevelFit& rate, const Throttle& throttle) {
    double pm = 0;
    for (double ceiling : rate.ceiling) pm += ceiling / static_cast<double>(rate.ceiling.size());
    const double w = std::hypot(rate.softness_db, flight_spread_db / 1.7);
    for (std::size_t i = 0; i < size; ++i) {
      const double level = level_low_db + gain_low_db + static_cast<double>(i) * level_step_db;
      double p = pm / (1 + std::exp(-level / w));
      const double m = throttle.messages_per_chance;
      if (m != 1) p = 1 - std::pow(1 - p, m);
      for (std::size_t leak = 0; leak <= leaks.size(); ++leak) {
        const double share = leak == 0 ? 1.0 : leaks[leak - 1];
        const double q = std::clamp(p * share, 0.002, 0.998);
        heard_[leak][i] = std::log(q);
        missed_[leak][i] = std::log1p(-q);
      }
    }
  }
  // gain steps equal level steps, so a sum of bins is a bin.
  double log_likelihood(const Evidence& row, std::size_t gain, std::size_t leak) const {
    return log_likelihood(row.level_bin, {row.heard, row.missed}, gain, leak);
  }
  double log_likelihood(std::size_t level_bin, const Counts& counts, std::size_t gain,
                        std::size_t leak) const {
    const std::size_t i = level_bin + gain;
    return counts.heard * heard_[leak][i] + counts.missed * missed_[leak][i];
  }

 private:
  static constexpr std::size_t size = n_levels + n_gains;
  std::array<std::array<double, size>, leaks.size() + 1> heard_{}, missed_{};
};

// Likelihood tables over elevation for one gain: open and blocked by each leak.
struct Best {
  double log_likelihood = -std::numeric_limits<double>::infinity();
  std::size_t gain{}, leak{};
  int elevation{};  // bins below are behind the wall
};

class Sector {
 public:
  void add(const Evidence& row) { rows_.push_back(row); }
  bool empty() const { return rows_.empty(); }

  // The table of all flights, or of one part of them, for a jackknife by subtraction. A row of
  // evidence goes into one run of it.
  using Table = std::vector<double>;  // [elevation][leak 0 = open ..][gain]
  static std::size_t at(std::size_t gain, std::size_t leak, std::size_t elevation) {
    return (elevation * (leaks.size() + 1) + leak) * n_gains + gain;
  }
  Table table(const Chance& chance, std::optional<std::uint32_t> part = {}) const {
    // Rows of one level and elevation go together: there are several times as many rows as bins.
    std::vector<Counts> bins(n_elevations * n_levels);
    for (const Evidence& row : rows_) {
      if (part && row.flight % jackknife_parts != *part) continue;
      Counts& bin = bins[row.elevation_bin * std::size_t{n_levels} + row.level_bin];
      bin.heard += row.heard;
      bin.missed += row.missed;
    }
    Table out(n_gains * (leaks.size() + 1) * n_elevations, 0.0);
    for (std::size_t i = 0; i < bins.size(); ++i) {
      if (bins[i].heard == 0 && bins[i].missed == 0) continue;
      for (std::size_t leak = 0; leak <= leaks.size(); ++leak)
        for (std::size_t gain = 0; gain < n_gains; ++gain)
          out[at(gain, leak, i / n_levels)] +=
              chance.log_likelihood(i % n_levels, bins[i], gain, leak);
    }
    return out;
  }

  static Best weak(const Table& table) {
    Best best;
    for (std::size_t gain = 0; gain < n_gains; ++gain) {
      double sum = 0;
      for (std::size_t e = 0; e < n_elevations; ++e) sum += table[at(gain, 0, e)];
      if (sum > best.log_likelihood) best = {sum, gain, 0, 0};
    }
    return best;
  }
  static Best wall(const Table& table) {
    Best best;
    for (std::size_t gain = 0; gain < n_gains; ++gain) {
      for (std::size_t leak = 1; leak <= leaks.size(); ++leak) {
        double sum = 0;
        for (std::size_t e = 0; e < n_elevations; ++e) sum += table[at(gain, 0, e)];
        for (std::size_t e = 0; e < n_elevations; ++e) {
          sum += table[at(gain, leak, e)] - table[at(gain, 0, e)];
          if (sum > best.log_likelihood) best = {sum, gain, leak, static_cast<int>(e) + 1};
        }
      }
    }
    return best;
  }

  // Difference of the two explanations, flight by flight.
  void compare(const Chance& chance, const Best& weak, const Best& wall, SectorCutoff& out) const {
    double sum = 0, squares = 0, of_flight = 0;
    bool below = false;
    const auto finish_flight = [&] {
      sum += of_flight;
      squares += of_flight * of_flight;
      ++out.flights;
      out.flights_below += below;
      of_flight = 0;
      below = false;
    };
    for (std::size_t i = 0; i < rows_.size(); ++i) {
      const Evidence& row = rows_[i];
      const bool is_below = row.elevation_bin < wall.elevation;
      below = below || is_below;
      of_flight += chance.log_likelihood(row, wall.gain, is_below ? wall.leak : 0) -
                   chance.log_likelihood(row, weak.gain, 0);
      if (i + 1 == rows_.size() || rows_[i + 1].flight != row.flight) finish_flight();
    }
    out.log_ratio = sum;
    out.z = squares > 0 ? sum / std::sqrt(squares) : 0;
  }

 private:
  std::vector<Evidence> rows_;  // by flight
};

double elevation_of(int bin) { return lowest_deg + step_deg * bin; }

// Between two sectors with a wall, no farther apart than this, the wall goes on: to the eye of the
// estimate at least, where the sectors between show too little to tell. One site in twelve had five
// such, and was called 3 dB weak there.
constexpr double widest_window_deg = 30;

std::vector<std::optional<double>> bridged_edges(const std::vector<SectorCutoff>& cutoffs) {
  const std::size_t n = cutoffs.size();
  const auto most = static_cast<std::size_t>(widest_window_deg * static_cast<double>(n) / 360);
  std::vector<std::optional<double>> out(n);
  for (std::size_t s = 0; s < n; ++s) {
    out[s] = cutoffs[s].cutoff_deg;
    const std::optional<double>& before = cutoffs[(s + n - 1) % n].cutoff_deg;
    if (out[s] || !before) continue;
    std::size_t next = 1;
    while (next < n && !cutoffs[(s + next) % n].cutoff_deg) ++next;
    if (next > most) continue;
    const double edge = std::max(*before, *cutoffs[(s + next) % n].cutoff_deg);
    for (std::size_t i = 0; i < next; ++i) out[(s + i) % n] = edge;
  }
  return out;
}

}  // namespace

std::vector<SectorCutoff> find_cutoffs(const Exposure& exposure, const LevelFit& rate,
                                       const Throttle& throttle, const CutoffOptions& options) {
  const auto n = static_cast<std::size_t>(exposure.n_sectors);
  std::vector<SectorCutoff> out(n);
  if (rate.gain_db.size() == 0) return out;
  const Chance chance(rate, throttle);
  std::vector<double> gains(rate.gain_db.data(), rate.gain_db.data() + rate.gain_db.size());
  std::nth_element(gains.begin(), gains.begin() + gains.size() / 2, gains.end());
  const double middle_db = gains[gains.size() / 2];

  std::vector<Sector> sectors(n);
  for (std::uint32_t f = 0; f < exposure.flights.size(); ++f) {
    for (const Group& group : exposure.of(exposure.flights[f])) {
      if (group.horizon_ratio > inner_horizon || group.elevation_deg < lowest_deg ||
          group.elevation_deg >= highest_deg || group.chances == 0)
        continue;
      const double level = middle_db + rate.flight_db[f] + group.spreading_db +
                           dipole_db(group.elevation_deg) + rate.elevation.at(group.elevation_deg);
      Evidence row;
      row.flight = exposure.flights[f].ordinal;
      row.elevation_bin = static_cast<std::uint16_t>((group.elevation_deg - lowest_deg) / step_deg);
      row.level_bin = static_cast<std::uint16_t>(std::clamp(
          (level - level_low_db) / level_step_db, 0.0, static_cast<double>(n_levels - 1)));
      const double weight =
          chances_a_cell * group.cells * (group.kind == GroupKind::beyond ? beyond_weight : 1.0);
      const double share = std::min(
          1.0, group.heard * throttle.messages_per_chance / static_cast<double>(group.chances));
      row.heard = static_cast<float>(weight * share);
      row.missed = static_cast<float>(weight * (1 - share));
      sectors[group.sector].add(row);
    }
  }

  each_beside(n, [&](std::size_t s) {
    const Sector& sector = sectors[s];
    SectorCutoff& one = out[s];
    if (sector.empty()) return;
    const Sector::Table total = sector.table(chance);
    const Best weak = Sector::weak(total), wall = Sector::wall(total);
    sector.compare(chance, weak, wall, one);
    one.leak = wall.leak == 0 ? 1 : leaks[wall.leak - 1];
    const double cutoff_deg = elevation_of(wall.elevation);
    const bool is_wall = cutoff_deg >= options.least_deg && one.z >= options.least_z &&
                         one.log_ratio >= options.least_log_ratio &&
                         one.flights_below >= options.least_flights;
    if (!is_wall) return;
    one.cutoff_deg = cutoff_deg;
    // Jackknife over twenty parts of the flights.
    double mean = 0, spread = 0;
    std::vector<double> without;
    for (std::uint32_t i = 0; i < jackknife_parts; ++i) {
      const Sector::Table part = sector.table(chance, i);
      Sector::Table rest = total;
      for (std::size_t at = 0; at < rest.size(); ++at) rest[at] -= part[at];
      without.push_back(elevation_of(Sector::wall(rest).elevation));
      mean += without.back() / jackknife_parts;
    }
    for (double value : without) spread += (value - mean) * (value - mean);
    const double se =
        std::sqrt(spread * (jackknife_parts - 1.0) / jackknife_parts + step_deg * step_deg / 12);
    one.low_deg = cutoff_deg - 2.1 * se;
    one.high_deg = cutoff_deg + 2.1 * se;
  });
  return out;
}

std::vector<std::optional<double>> wall_edges(const std::vector<SectorCutoff>& cutoffs) {
  const std::vector<std::optional<double>> edges = bridged_edges(cutoffs);
  const std::size_t n = edges.size();
  std::vector<std::optional<double>> out(n);
  for (std::size_t s = 0; s < n; ++s)
    for (std::size_t beside : {s + n - 1, s, s + 1}) {
      const std::optional<double>& edge = edges[beside % n];
      if (edge) out[s] = std::max(out[s].value_or(*edge), *edge);
    }
  return out;
}

}  // namespace roundel::pattern
