#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/pattern/level_fitter.h"

namespace roundel::pattern {
namespace {

// Two values and the share of the second, between which a place stands.
struct Between {
  int first;
  double share;
};
Between knots_about(double elevation_deg) {
  const double place =
      std::clamp((elevation_deg - ElevationCurve::first_deg) / ElevationCurve::step_deg, 0.0,
                 ElevationCurve::n_knots - 1.0);
  const int first = std::min(static_cast<int>(place), ElevationCurve::n_knots - 2);
  return {first, place - first};
}

}  // namespace

double ElevationCurve::at(double elevation_deg) const {
  if (gain_db.size() == 0) return 0;
  const Between k = knots_about(elevation_deg);
  return gain_db[k.first] * (1 - k.share) + gain_db[k.first + 1] * k.share;
}

double LevelFit::gain_at(Eigen::Index sector, double bearing_off_deg) const {
  const Eigen::Index n = gain_db.size();
  const Eigen::Index other = bearing_off_deg < 0 ? (sector + n - 1) % n : (sector + 1) % n;
  const double share = std::abs(bearing_off_deg) * static_cast<double>(n) / 360;
  return gain_db[sector] + share * (gain_db[other] - gain_db[sector]);
}

double LevelFit::level_db(Eigen::Index sector, double bearing_off_deg, double spreading_db,
                          double elevation_deg, double cos_aspect) const {
  const double bearing = (static_cast<double>(sector) + 0.5) * 2 * std::numbers::pi /
                             static_cast<double>(gain_db.size()) +
                         bearing_off_deg * std::numbers::pi / 180;
  const double leaning_deg =
      elevation_deg - lean.north_deg * std::cos(bearing) - lean.east_deg * std::sin(bearing);
  double out = gain_at(sector, bearing_off_deg) + spreading_db + dipole_db(elevation_deg) +
               elevation.at(leaning_deg);
  const auto aspect = aspect_terms(cos_aspect);
  for (Eigen::Index k = 0; k < std::min<Eigen::Index>(beta.size(), aspect_orders); ++k)
    out += beta[k] * aspect[static_cast<std::size_t>(k)];
  return out;
}

namespace levels {

Layout::Layout(const LevelData& data, const LevelOptions& options)
    : n_sectors(data.n_sectors),
      n_elevations(options.random_flights ? ElevationCurve::n_knots : 0),
      n_covariates(data.n_covariates),
      n_lean(options.random_flights ? 2 : 0) {
  const bool is_rate = options.kind == LevelOptions::Kind::rate;
  is_free = {is_rate && !options.softness_db, is_rate && options.is_shape_free,
             is_rate && options.is_shape_free, is_rate && options.ceiling_by_hour};
}

// Over a degree, as the curve's corners are no slopes; of a null no more than one can tell.
double Fitter::slope_of_curve(double elevation_deg) const {
  constexpr double steepest = 8;
  const auto at = [&](double e) {
    const Between k = knots_about(e);
    const Index first = layout_.elevation() + k.first;
    return state_.parameters[first] * (1 - k.share) + state_.parameters[first + 1] * k.share;
  };
  return std::clamp(at(elevation_deg + 0.5) - at(elevation_deg - 0.5), -steepest, steepest);
}

Design Fitter::design_of(const LevelBlock& block, const LevelRow& row) const {
  Design out;
  const Index n = layout_.n_sectors, sector = block.sector;
  const double off = row.bearing_off_deg / width_deg_;
  if (layout_.n_elevations == 0 || n < 3) {
    out.add(sector, 1);
  } else {
    const double share = std::min(0.5, std::abs(off));
    out.add(sector, 1 - share);
    out.add(off < 0 ? (sector + n - 1) % n : (sector + 1) % n, share);
  }
  if (layout_.n_elevations > 0) {
    const double bearing =
        (static_cast<double>(sector) + 0.5 + off) * width_deg_ * (std::numbers::pi / 180);
    const double north = std::cos(bearing), east = std::sin(bearing);
    const double elevation_deg = row.elevation_deg - state_.parameters[layout_.lean()] * north -
                                 state_.parameters[layout_.lean() + 1] * east;
    const Between k = knots_about(elevation_deg);
    out.add(layout_.elevation() + k.first, 1 - k.share);
    out.add(layout_.elevation() + k.first + 1, k.share);
    for (std::size_t i = 0; i < out.n; ++i)
      out.level_db += out.terms[i].by * state_.parameters[out.terms[i].at];
    // The lean has moved the place on the curve already: its terms are slopes only.
    const double slope = slope_of_curve(elevation_deg);
    out.add(layout_.lean(), -slope * north);
    out.add(layout_.lean() + 1, -slope * east);
  } else {
    out.level_db = state_.parameters[sector];
  }
  for (Index k = 0; k < layout_.n_covariates; ++k) {
    const double by = row.covariate[static_cast<std::size_t>(k)];
    out.add(layout_.covariate() + k, by);
    out.level_db += by * state_.parameters[layout_.covariate() + k];
  }
  out.level_db += row.offset_db;
  return out;
}

}  // namespace levels
}  // namespace roundel::pattern
