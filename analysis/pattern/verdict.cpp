#include "roundel/pattern/verdict.h"

#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include "analysis/pattern/beside.h"
#include "roundel/pattern/share.h"

namespace roundel::pattern {
namespace {

constexpr double widest_gap_deg = 15;
constexpr int least_flights = 8;
constexpr double far_from = 0.86, far_to = 0.95;  // "90 % of the horizon", as a band
constexpr int least_far_flights = 3;
constexpr float far_record = 0.4F;  // a flight followed less far out says nothing of the horizon
constexpr double off_share = 0.5;   // of the median ceiling: the receiver was plainly off
constexpr double ducting_share = 0.02;
constexpr std::int64_t ducting_cells = 30;
constexpr double doubtful_p = 0.001, doubtful_db = 0.7;
constexpr double true_slope = 0.85;
constexpr int few_flights_per_sector = 150;

// Hours that say something else than the antenna does.
void screen_hours(const Exposure& exposure, const LevelFit& rate, Screen& screen, Verdict& out) {
  screen.hours_out.assign(exposure.hours.size(), false);
  const double usual = rate.usual_ceiling;
  for (std::size_t h = 0; h < exposure.hours.size(); ++h) {
    const Hour& hour = exposure.hours[h];
    if (hour.cells == 0) continue;
    const bool is_ducting = hour.beyond_horizon_cells >= ducting_cells &&
                            static_cast<double>(hour.beyond_horizon_cells) >
                                ducting_share * static_cast<double>(hour.cells);
    const bool is_off = h < rate.ceiling.size() && rate.ceiling[h] < off_share * usual;
    if (is_ducting) out.hours_ducting.push_back(hour.start_s);
    if (is_off) out.hours_off.push_back(hour.start_s);
    screen.hours_out[h] = is_ducting || is_off;
  }
}

void report(MethodReport& out, const LevelFit& fit, const std::vector<bool>& known) {
  double sum = 0;
  for (std::size_t s = 0; s < known.size(); ++s) {
    if (!known[s]) continue;
    const auto i = static_cast<Eigen::Index>(s);
    ++out.sectors;
    sum += std::max(0.0, fit.covariance(i, i));
  }
  if (out.sectors > 0) out.rms_error_db = std::sqrt(sum / out.sectors);
}

// After smoothing: known to the smoother, an error along the curve itself would shrink the curve.
void add_scale_error(Curve& curve, Eigen::VectorXd shift_db) {
  const Eigen::VectorXd error = scale_error * curve.value;
  double mean = 0, n = 0;
  for (int i = 0; i < curve.n(); ++i)
    if (curve.known[static_cast<std::size_t>(i)]) mean += shift_db[i], n += 1;
  shift_db.array() -= mean / n;
  for (int i = 0; i < curve.n(); ++i)
    if (!curve.known[static_cast<std::size_t>(i)]) shift_db[i] = 0;
  curve.covariance += error * error.transpose() + shift_db * shift_db.transpose();
}

std::vector<Verdict::ElevationGain> gain_by_elevation(const LevelFit& fit, double confidence) {
  std::vector<Verdict::ElevationGain> out;
  const ElevationCurve& curve = fit.elevation;
  const double z = normal_reach(confidence);
  std::optional<int> first;
  for (int k = 0; k < static_cast<int>(curve.flights.size()); ++k) {
    if (curve.flights[static_cast<std::size_t>(k)] < least_flights) continue;
    if (!first) first = k;
    const double elevation_deg = ElevationCurve::knot_deg(k);
    const double gain_db = curve.gain_db[k] - curve.gain_db[*first];
    const double variance =
        curve.covariance(k, k) + curve.covariance(*first, *first) - 2 * curve.covariance(k, *first);
    const double half = z * std::hypot(std::sqrt(std::max(0.0, variance)), scale_error * gain_db);
    const double shown =
        gain_db + dipole_db(elevation_deg) - dipole_db(ElevationCurve::knot_deg(*first));
    out.push_back({elevation_deg, shown, shown - half, shown + half,
                   curve.flights[static_cast<std::size_t>(k)]});
  }
  return out;
}

// Only where both components together stand out by a chance of one in a thousand.
std::optional<Verdict::LeanFound> lean_of(const LevelFit& fit, double confidence) {
  constexpr double standing_out = 13.8, least_deg = 0.5;  // chi-squared of two
  const Eigen::Vector2d lean(fit.lean.north_deg, fit.lean.east_deg);
  const double size = lean.norm();
  if (size < least_deg || fit.lean.covariance.determinant() <= 0 ||
      lean.dot(fit.lean.covariance.inverse() * lean) < standing_out)
    return std::nullopt;
  const Eigen::Vector2d along = lean / size;
  const double half = normal_reach(confidence) * std::sqrt(along.dot(fit.lean.covariance * along));
  const double towards = std::atan2(lean[1], lean[0]) * 180 / std::numbers::pi;
  return Verdict::LeanFound{size, std::max(0.0, size - half), size + half,
                            towards < 0 ? towards + 360 : towards};
}

// Of the flights with chances near the horizon, how many were heard there.
struct FarFlights {
  int candidates{}, heard{};
};

std::vector<FarFlights> far_flights(const Exposure& exposure) {
  std::vector<FarFlights> out(static_cast<std::size_t>(exposure.n_sectors));
  for (const FlightGroups& flight : exposure.flights) {
    float followed = 0;  // how far out, of the horizon, its record goes
    for (const Group& group : exposure.of(flight))
      if (group.kind == GroupKind::recorded && group.heard > 0)
        followed = std::max(followed, group.horizon_ratio);
    if (followed < far_record) continue;
    int sector = -1;
    bool is_candidate = false, is_heard = false;
    const auto finish = [&] {
      if (sector < 0 || !is_candidate) return;
      ++out[static_cast<std::size_t>(sector)].candidates;
      out[static_cast<std::size_t>(sector)].heard += is_heard;
    };
    for (const Group& group : exposure.of(flight)) {
      if (group.sector != sector) {
        finish();
        sector = group.sector;
        is_candidate = is_heard = false;
      }
      if (group.horizon_ratio < far_from || group.horizon_ratio > far_to) continue;
      is_candidate = true;
      is_heard = is_heard || group.heard > 0;
    }
    finish();
  }
  return out;
}

State state_of(const SectorCutoff& cutoff, const FarFlights& far, const SectorVerdict& sector) {
  if (sector.flights < least_flights) return State::unjudged;
  if (cutoff.cutoff_deg) return State::obstructed;
  if (far.candidates >= least_far_flights)
    return 2 * far.heard >= far.candidates ? State::horizon : State::signal;
  // Nobody flew near the horizon here: nothing is said of how far it would reach.
  if (sector.reach_km && sector.horizon_km && *sector.reach_km >= 0.9 * *sector.horizon_km)
    return State::horizon;
  return State::unjudged;
}

// Hours until `more` chances have gone by, at the traffic seen so far by hour of day.
double hours_for(const Exposure& exposure, double more) {
  std::array<double, 24> sum{};
  std::array<int, 24> seen{};
  double total = 0;
  for (const Hour& hour : exposure.hours) {
    const auto of_day = static_cast<std::size_t>(((hour.start_s / 3600) % 24 + 24) % 24);
    sum[of_day] += static_cast<double>(hour.chances);
    ++seen[of_day];
    total += static_cast<double>(hour.chances);
  }
  const double mean = total / static_cast<double>(std::max<std::size_t>(1, exposure.hours.size()));
  if (mean <= 0) return 0;
  const double share = more / mean;
  if (share > 24 * 365) return share;
  std::size_t of_day = static_cast<std::size_t>((exposure.to_s.value_or(0) / 3600) % 24);
  double hours = 0;
  while (more > 0) {
    const double rate = seen[of_day] > 0 ? sum[of_day] / seen[of_day] : mean;
    hours += rate > more ? more / rate : 1;
    more -= rate;
    of_day = (of_day + 1) % 24;
  }
  return hours;
}

void tell_missing(const Exposure& exposure, const std::vector<bool>& known, Verdict& out) {
  double total = 0;
  for (const Hour& hour : exposure.hours) total += static_cast<double>(hour.chances);
  std::vector<bool> unknown(known.size());
  double ratio = 1;
  bool is_hopeless = total <= 0;
  for (std::size_t s = 0; s < known.size(); ++s) {
    unknown[s] = !known[s];
    if (known[s]) continue;
    const auto flights = static_cast<double>(exposure.sector_flights[s]);
    if (flights == 0)
      is_hopeless = true;
    else
      // Enough flights, yet no estimate: they were heard too well or too badly to tell.
      ratio = std::max({ratio, 1.5 * least_flights / flights, 1.5});
  }
  out.missing.bearings = runs(unknown);
  if (out.missing.bearings.empty()) {
    out.missing.is_precision = true;
    const double reach_db =
        std::max(0.05, (out.ripple.certain_high_db - out.ripple.certain_low_db) / 2);
    const double room_db = std::max(0.1, std::abs(out.options.tolerance_db - out.ripple.value_db));
    ratio = std::max(1.1, reach_db * reach_db / (room_db * room_db));
  }
  if (!is_hopeless) out.missing.hours = hours_for(exposure, total * (std::min(ratio, 1e4) - 1));
}

}  // namespace

std::string_view name_of(Answer answer) {
  switch (answer) {
    case Answer::omnidirectional:
      return "omnidirectional";
    case Answer::not_omnidirectional:
      return "not_omnidirectional";
    case Answer::undecided:
      break;
  }
  return "undecided";
}

std::string_view name_of(State state) {
  switch (state) {
    case State::horizon:
      return "horizon";
    case State::signal:
      return "signal";
    case State::obstructed:
      return "obstructed";
    case State::unjudged:
      break;
  }
  return "unjudged";
}

std::vector<Direction> runs(const std::vector<bool>& which) {
  std::vector<Direction> out;
  const std::size_t n = which.size();
  if (n == 0) return out;
  const double width = 360.0 / static_cast<double>(n);
  const auto outside = std::find(which.begin(), which.end(), false);
  if (outside == which.end()) return {{0, 360}};
  // Starting outside a run, no run is cut in two at north.
  const auto start = static_cast<std::size_t>(outside - which.begin());
  for (std::size_t i = 1; i <= n; ++i) {
    const std::size_t s = (start + i) % n;
    if (!which[s]) continue;
    const bool continues = which[(s + n - 1) % n];
    const double from = width * static_cast<double>(s);
    if (!continues) out.push_back({from, from});
    out.back().to_deg = from + width;
  }
  for (Direction& run : out)
    if (run.to_deg > 360) run.to_deg -= 360;
  return out;
}

Verdict judge(const Exposure& exposure, const Reach& reach, const VerdictOptions& options) {
  Verdict out;
  out.options = options;
  out.flights = exposure.n_flights;
  out.cells = exposure.n_cells;
  out.silent_cells = exposure.n_silent_cells;
  out.from_s = exposure.from_s;
  out.to_s = exposure.to_s;
  out.throttle = find_throttle(exposure);

  // The rate, twice: the first fit, of a sample where flights are many and without errors, finds
  // walls and hours that do not belong; the second goes without them. The walls are then looked for
  // again with the better levels.
  Screen screen;
  const bool is_large = exposure.n_flights > std::int64_t{many_flights};
  const Exposure few = is_large ? thinned(exposure, few_flights_per_sector) : Exposure{};
  const Exposure& first = is_large ? few : exposure;
  const LevelFit start = start_rate(first, out.throttle, screen);
  screen_hours(exposure, start, screen, out);
  std::vector<SectorCutoff> cutoffs = find_cutoffs(first, start, out.throttle);
  const auto take_cutoffs = [&] {
    screen.cutoff_deg = wall_edges(cutoffs);
    return screen.has_walls();
  };
  // What took walls for weakness is too far off behind them to climb back from there.
  const std::optional<LevelFit> near = take_cutoffs() ? beyond_walls(start, screen) : start;
  const LevelFit rate = fit_rate(exposure, out.throttle, screen, {near ? &*near : nullptr, {}});
  cutoffs = find_cutoffs(exposure, rate, out.throttle);
  take_cutoffs();

  LevelFit strength = fit_strength(exposure, rate, screen);
  out.elevation = gain_by_elevation(rate, options.confidence);
  out.lean = lean_of(rate, options.confidence);
  const double slope = level_slope(exposure, strength, screen);
  const bool is_compressed = slope < true_slope;
  if (is_compressed) {
    out.strength.remark = "the level scale is compressed near in: levels left out";
    strength = {};
  } else if (exposure.n_levels == 0) {
    out.strength.remark = "the feed carries no levels";
  }
  Combined combined = combine(rate, strength);
  out.conflict_p = combined.conflict_p;
  out.conflict_db = combined.difference_db;
  const double combined_db = combined.difference_db;
  const bool is_conflict = combined.conflict_p < doubtful_p && combined.difference_db > doubtful_db;
  if (is_conflict) {
    // Levels that rise with the expected ones decibel for decibel are not plainly wrong, and
    // neither are counts: what they differ by is left open.
    out.strength.remark = fmt::format(
        "counts and levels differ by {:.1f} dB and neither is plainly wrong; intervals are widened "
        "by "
        "that",
        combined.difference_db);
    combined = combine(rate, {});
    combined.covariance.diagonal().array() += combined_db * combined_db;
  }
  report(out.rate, rate, combined.rate_known);
  out.rate.used = out.rate.sectors > 0;
  if (strength.gain_db.size() > 0)
    report(out.strength, strength, combine(rate, strength).strength_known);
  out.strength.used = combined.strength_used;

  if (combined.known.empty())
    combined.known.assign(static_cast<std::size_t>(exposure.n_sectors), false);
  const auto n_known = std::count(combined.known.begin(), combined.known.end(), true);
  if (n_known >= 3) {
    out.curve = smooth(combined.gain_db, combined.covariance, combined.known);
    add_scale_error(out.curve, combined.scale_shift_db);
    // "Within the tolerance" must hold without the smoother's help: a dip narrower than it expects,
    // or data so thin that it falls back on a flat curve, must not pass.
    Curve rough = centred(combined.gain_db, combined.covariance, combined.known);
    add_scale_error(rough, combined.scale_shift_db);
    double rough_high_db = 0;
    each_beside(2, [&](std::size_t i) {
      if (i == 0)
        out.ripple = ripple(out.curve, options.confidence);
      else
        rough_high_db = certain(rough, options.confidence).high_db;
    });
    out.ripple.certain_high_db = std::max(out.ripple.certain_high_db, rough_high_db);
    out.harmonics = harmonics(out.curve, 4, options.confidence);
  }
  out.softness_db = rate.softness_db;
  out.ceiling = rate.usual_ceiling;
  out.misfit_db = rate.misfit_db;
  out.sigma_flight_db = rate.sigma_flight_db;

  const double z = normal_reach(options.confidence);
  const std::vector<FarFlights> far = far_flights(exposure);
  for (std::size_t s = 0; s < combined.known.size(); ++s) {
    SectorVerdict sector;
    sector.bearing_deg = exposure.sector_deg * (static_cast<double>(s) + 0.5);
    sector.flights = exposure.sector_flights[s];
    sector.cells = exposure.sector_cells[s];
    sector.far_flights = far[s].candidates;
    sector.far_heard = far[s].heard;
    if (s < reach.sectors.size() && reach.sectors[s].farthest) {
      sector.reach_km = reach.sectors[s].farthest->range_km;
      sector.horizon_km = reach.sectors[s].farthest->horizon_km;
    }
    sector.state = state_of(cutoffs[s], far[s], sector);
    if (cutoffs[s].cutoff_deg && sector.state == State::obstructed) {
      sector.cutoff_deg = cutoffs[s].cutoff_deg;
      sector.cutoff_low_deg = cutoffs[s].low_deg;
      sector.cutoff_high_deg = cutoffs[s].high_deg;
    }
    if (n_known >= 3 && combined.known[s]) {
      const auto i = static_cast<int>(s);
      sector.gain_db = out.curve.value[i];
      sector.low_db = out.curve.value[i] - z * out.curve.se(i);
      sector.high_db = out.curve.value[i] + z * out.curve.se(i);
    }
    out.sectors.push_back(sector);
  }

  std::vector<bool> unknown(combined.known.size());
  std::transform(combined.known.begin(), combined.known.end(), unknown.begin(),
                 std::logical_not<>());
  bool has_gap = n_known < 3;
  for (const Direction& gap : runs(unknown)) {
    const double width =
        gap.to_deg > gap.from_deg ? gap.to_deg - gap.from_deg : gap.to_deg + 360 - gap.from_deg;
    has_gap = has_gap || width > widest_gap_deg;
  }
  if (n_known >= 3 && out.ripple.certain_low_db > options.tolerance_db)
    out.answer = Answer::not_omnidirectional;
  else if (!has_gap && out.ripple.certain_high_db < options.tolerance_db)
    out.answer = Answer::omnidirectional;
  if (out.answer == Answer::undecided)
    tell_missing(exposure, has_gap ? combined.known : std::vector<bool>(unknown.size(), true), out);
  return out;
}

}  // namespace roundel::pattern
