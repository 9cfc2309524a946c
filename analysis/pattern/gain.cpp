#include "roundel/pattern/gain.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <unordered_map>

namespace roundel::pattern {
namespace {

using std::numbers::pi;
constexpr double well_heard_share = 0.85;
constexpr int start_flights_per_sector = 80, fewest_flights_per_sector = 40;

// Walls: an edge does not end at its elevation. Diffraction takes 6 dB there and still 1 dB at
// nu = -0.63 (ITU-R P.526, knife edge; from memory): 0.4 degrees above an edge 1 km away, 1.3
// degrees at 100 m. What is left of that loss above the margin is estimated, one figure for all
// walls.
constexpr double edge_fade_deg = 0.4;
constexpr double edge_prior_db = 2;

std::array<float, max_covariates> covariates(const Group& group, const Screen& screen) {
  std::array<float, max_covariates> out{};
  const auto aspect = aspect_terms(group.cos_aspect);
  std::transform(aspect.begin(), aspect.end(), out.begin(),
                 [](double x) { return static_cast<float>(x); });
  if (screen.cutoff_deg.empty()) return out;
  if (const auto& cutoff = screen.cutoff_deg[group.sector]) {
    const double above_deg = group.elevation_deg - *cutoff - screen.margin_deg;
    out[aspect_orders] = static_cast<float>(-std::exp(-std::max(0.0, above_deg) / edge_fade_deg));
  }
  return out;
}

bool usable(const Group& group, const Screen& screen) {
  if (!tells_level(group)) return false;
  if (!screen.hours_out.empty() && screen.hours_out[group.hour]) return false;
  if (screen.cutoff_deg.empty()) return true;
  const std::optional<double>& cutoff = screen.cutoff_deg[group.sector];
  return !cutoff || group.elevation_deg > *cutoff + screen.margin_deg;
}

// Rows of one block that say the same: one row does for them.
bool alike(const LevelRow& a, const LevelRow& b) {
  return a.hour == b.hour && std::abs(a.offset_db - b.offset_db) < alike_db &&
         std::abs(a.covariate[0] - b.covariate[0]) < alike_aspect &&
         std::abs(a.elevation_deg - b.elevation_deg) < alike_deg;
}
void merge(LevelRow& into, const LevelRow& from) {
  const float share = from.chances / (into.chances + from.chances);
  const auto mean = [share](float& a, float b) { a += share * (b - a); };
  mean(into.offset_db, from.offset_db);
  mean(into.bearing_off_deg, from.bearing_off_deg);
  mean(into.elevation_deg, from.elevation_deg);
  for (std::size_t k = 0; k < into.covariate.size(); ++k)
    mean(into.covariate[k], from.covariate[k]);
  into.chances += from.chances;
}

// An aircraft that circles is banked all the while, and its antenna with it: outside its turn it is
// up to 3 dB stronger than inside, which is nobody's aspect in level flight. Some orbits of hours
// tell more of how a level goes with range and aspect than all who fly past, and made a pattern
// 0.88 of what it was. Who flies past has his aspect go once from nose to tail, which is 2.
class Swing {
 public:
  void add(const Group& group) {
    sum_ += n_++ == 0 ? 0 : std::abs(group.cos_aspect - last_);
    last_ = group.cos_aspect;
  }
  bool is_circling() const { return sum_ > most; }

 private:
  static constexpr float most = 3;
  float sum_ = 0, last_ = 0;
  int n_ = 0;
};

// Rows by flight and sector; `row` returns false to leave a group out. Observed values are counts
// (added when rows merge) or means (averaged).
template <class Row>
LevelData assemble(const Exposure& exposure, const Screen& screen, bool are_counts,
                   const Row& row) {
  LevelData data;
  data.n_sectors = exposure.n_sectors;
  data.n_flights = static_cast<int>(exposure.flights.size());
  data.n_hours = static_cast<int>(exposure.hours.size());
  data.n_covariates = aspect_orders + (screen.has_walls() ? 1 : 0);
  data.rows.reserve(exposure.groups.size());
  std::unordered_map<std::uint64_t, std::uint32_t> first_of;
  for (std::uint32_t f = 0; f < exposure.flights.size(); ++f) {
    data.airframe.push_back(first_of.try_emplace(exposure.flights[f].address, f).first->second);
    bool open = false;
    Swing swing;
    const auto close = [&] {
      if (open && swing.is_circling()) {
        data.rows.resize(data.blocks.back().first_row);
        data.blocks.pop_back();
      }
      open = false;
      swing = {};
    };
    for (const Group& group : exposure.of(exposure.flights[f])) {
      LevelRow next;
      if (!row(group, next)) continue;
      if (open && data.blocks.back().sector != group.sector) close();
      if (!open) {
        data.blocks.push_back({f, group.sector, static_cast<std::uint32_t>(data.rows.size()), 0});
        open = true;
      }
      swing.add(group);
      next.hour = group.hour;
      next.bearing_off_deg = group.bearing_off_deg;
      next.elevation_deg = group.elevation_deg;
      next.covariate = covariates(group, screen);
      if (data.blocks.back().n_rows > 0 && alike(data.rows.back(), next)) {
        LevelRow& last = data.rows.back();
        if (are_counts) {
          last.observed += next.observed;
        } else {
          last.observed +=
              next.chances / (last.chances + next.chances) * (next.observed - last.observed);
        }
        merge(last, next);
        continue;
      }
      data.rows.push_back(next);
      ++data.blocks.back().n_rows;
    }
    close();
  }
  return data;
}

double geometry_db(const Group& group) {
  return group.spreading_db + dipole_db(group.elevation_deg);
}

}  // namespace

bool Screen::has_walls() const {
  return std::any_of(cutoff_deg.begin(), cutoff_deg.end(),
                     [](const auto& cutoff) { return cutoff.has_value(); });
}

double dipole_db(double elevation_deg) {
  const double e = elevation_deg * (pi / 180);
  // Near the horizon by its Taylor series, within 1e-8 dB: every group asks, several times.
  constexpr double series_deg = 15;
  if (std::abs(elevation_deg) <= series_deg) {
    const double x = e * e;
    return x * (-6.3728420058703743 +
                x * (-0.11093762220182247 +
                     x * (-0.24492988427746183 +
                          x * (-0.061047596420883477 + x * -0.018524014409419408))));
  }
  const double cosine = std::cos(e);
  if (cosine < 1e-3) return -60;
  return 20 * std::log10(std::max(1e-3, std::cos(pi / 2 * std::sin(e)) / cosine));
}

Throttle find_throttle(const Exposure& exposure) {
  Throttle out;
  const auto& histogram = exposure.heard_histogram;
  for (std::int64_t count : histogram) out.cells += count;
  if (out.cells < 50) return out;
  // The count that 98 % of near cells do not exceed.
  std::int64_t above = 0;
  std::size_t top = histogram.size() - 1;
  while (top > 0 && above + histogram[top] <= out.cells / 50) above += histogram[top--];
  // A feed that prints all shows counts up to 20 and more; one that thins them, a sharp edge below.
  if (top > 15 || top < 1) return out;
  std::int64_t at_edge = histogram[top] + (top > 1 ? histogram[top - 1] : 0);
  out.share_at_limit = static_cast<double>(at_edge) / static_cast<double>(out.cells);
  if (out.share_at_limit < 0.3) return out;  // a weak receiver, not a thinned feed
  const double chances = static_cast<double>(top);
  out.messages_per_chance = schema::chances_per_window / chances;
  return out;
}

namespace {

// Each row has a level of its own: what rows of a sector are off by together, flights tell. Were
// they to share one, all that fading leaves within it would be taken for a flatter threshold, and
// decibels came out up to a quarter too large.
LevelData rate_rows(const Exposure& exposure, const Screen& screen) {
  LevelData data = assemble(exposure, screen, true, [&](const Group& group, LevelRow& row) {
    if (!usable(group, screen)) return false;
    row.offset_db = static_cast<float>(geometry_db(group));
    row.chances = group.chances;
    row.observed = group.heard;
    return true;
  });
  std::vector<LevelBlock> of_rows;
  of_rows.reserve(data.rows.size());
  for (const LevelBlock& block : data.blocks)
    for (std::uint32_t r = 0; r < block.n_rows; ++r)
      of_rows.push_back({block.flight, block.sector, block.first_row + r, 1});
  data.blocks = std::move(of_rows);
  return data;
}

LevelOptions rate_options(const Throttle& throttle) {
  LevelOptions options;
  options.messages_per_chance = throttle.messages_per_chance;
  options.threshold = Threshold::normal();
  options.is_shape_free = true;
  options.covariate_prior[aspect_orders] = edge_prior_db;
  return options;
}

// To start from; none: so many flights in each sector are no less than half of all.
std::optional<LevelFit> fit_part(const Exposure& all, int flights_per_sector,
                                 const Throttle& throttle, const Screen& screen) {
  const Exposure part = thinned(all, flights_per_sector);
  if (2 * part.groups.size() >= all.groups.size()) return std::nullopt;
  return start_rate(part, throttle, screen);
}

}  // namespace

LevelFit fit_rate(const Exposure& exposure, const Throttle& throttle, const Screen& screen,
                  const RateFit& how) {
  LevelOptions options = rate_options(throttle);
  options.start = how.start;
  options.softness_db = how.softness_db;
  std::optional<LevelFit> of_some;
  if (how.start == nullptr) {
    const bool is_large = exposure.flights.size() > std::size_t{many_flights};
    of_some = fit_part(exposure, is_large ? start_flights_per_sector : fewest_flights_per_sector,
                       throttle, screen);
    if (of_some) options.start = &*of_some;
  }
  return fit_levels(rate_rows(exposure, screen), options);
}

LevelFit start_rate(const Exposure& part, const Throttle& throttle, const Screen& screen) {
  LevelOptions options = rate_options(throttle);
  options.errors = options.is_shape_free = false;
  // First of a few, where a step costs little, from far; then of all, from near by.
  const auto of_fewer = fit_part(part, fewest_flights_per_sector, throttle, screen);
  if (of_fewer) options.start = &*of_fewer;
  return fit_levels(rate_rows(part, screen), options);
}

std::optional<LevelFit> beyond_walls(LevelFit start, const Screen& screen) {
  const auto& walls = screen.cutoff_deg;
  const std::size_t n = walls.size();
  const auto n_open =
      static_cast<std::size_t>(std::count(walls.begin(), walls.end(), std::nullopt));
  if (4 * n_open < n || start.gain_db.size() != static_cast<Eigen::Index>(n)) return std::nullopt;
  const Eigen::VectorXd found_db = start.gain_db;
  // The nearest open sector, `by` being one sector on or one back, and how far it is.
  const auto open_from = [&](std::size_t s, std::size_t by) {
    std::size_t steps = 0;
    for (; walls[s]; ++steps) s = (s + by) % n;
    return std::pair{found_db[static_cast<Eigen::Index>(s)], static_cast<double>(steps)};
  };
  for (std::size_t s = 0; s < n; ++s) {
    if (!walls[s]) continue;
    const auto [after_db, to_after] = open_from(s, 1);
    const auto [before_db, to_before] = open_from(s, n - 1);
    start.gain_db[static_cast<Eigen::Index>(s)] =
        (before_db * to_after + after_db * to_before) / (to_before + to_after);
  }
  start.beta.conservativeResizeLike(Eigen::VectorXd::Zero(aspect_orders + 1));
  return start;
}

LevelFit fit_strength(const Exposure& exposure, const LevelFit& rate, const Screen& screen) {
  if (exposure.n_levels == 0 || rate.gain_db.size() == 0) return {};
  const double level_needed =
      rate.softness_db * std::log(well_heard_share / (1 - well_heard_share));
  const LevelData data = assemble(exposure, screen, false, [&](const Group& group, LevelRow& row) {
    if (!usable(group, screen) || group.levels == 0) return false;
    const double expected = rate.flight_db[group.flight] +
                            rate.level_db(group.sector, group.bearing_off_deg, group.spreading_db,
                                          group.elevation_deg, group.cos_aspect);
    if (expected < level_needed) return false;
    row.offset_db = static_cast<float>(geometry_db(group));
    row.chances = group.levels;
    row.observed = group.level_sum_db / static_cast<float>(group.levels);
    return true;
  });
  LevelOptions options;
  options.kind = LevelOptions::Kind::strength;
  options.covariate_prior[aspect_orders] = edge_prior_db;
  return fit_levels(data, options);
}

double level_slope(const Exposure& exposure, const LevelFit& strength, const Screen& screen) {
  if (strength.gain_db.size() == 0) return 1;
  // Within flights, so that strong types do not pass for compression.
  double xx = 0, xy = 0;
  for (std::uint32_t f = 0; f < exposure.flights.size(); ++f) {
    double n = 0, x_sum = 0, y_sum = 0, xx_sum = 0, xy_sum = 0;
    for (const Group& group : exposure.of(exposure.flights[f])) {
      if (!usable(group, screen) || group.levels == 0 || group.spreading_db < 0) continue;
      const double x = geometry_db(group) + strength.gain_at(group.sector, group.bearing_off_deg) +
                       strength.elevation.at(group.elevation_deg);
      const double y = group.level_sum_db / group.levels;
      const double w = group.cells;
      n += w, x_sum += w * x, y_sum += w * y, xx_sum += w * x * x, xy_sum += w * x * y;
    }
    if (n < 5) continue;
    xx += xx_sum - x_sum * x_sum / n;
    xy += xy_sum - x_sum * y_sum / n;
  }
  return xx > 100 ? xy / xx : 1;
}

}  // namespace roundel::pattern
