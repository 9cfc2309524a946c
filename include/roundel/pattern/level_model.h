// The regression behind every pattern: levels by sector and elevation, with flights that differ.
#pragma once
#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "roundel/pattern/threshold.h"

namespace roundel::pattern {

/// Covariates a row may carry, besides its sector and elevation.
inline constexpr int max_covariates = 4;

/// An aircraft's own antenna favours nose or tail, and broadside or both ends: cosines of one, two
/// and three times the angle at which it is seen. The first covariates of every fit.
inline constexpr int aspect_orders = 3;
inline std::array<double, aspect_orders> aspect_terms(double cos_aspect) {
  return {cos_aspect, 2 * cos_aspect * cos_aspect - 1,
          cos_aspect * (4 * cos_aspect * cos_aspect - 3)};
}

/// Half-wave dipole, gain relative to the horizontal: 20 log10(cos(pi/2 sin e) / cos e), dB
/// (Balanis, Antenna Theory, section 4.6; from memory).
double dipole_db(double elevation_deg);

/// One observation: heard of chances (rate), or a mean level of n reports (strength).
struct LevelRow {
  float offset_db{};  ///< what geometry adds to the level: x
  float chances{};    ///< n
  float observed{};   ///< rate: reports heard, 0 .. n. strength: mean level, dB
  std::uint16_t hour{};
  float bearing_off_deg{};  ///< from the middle of the sector
  float elevation_deg{};    ///< above the antenna's horizontal
  std::array<float, max_covariates> covariate{};
};

/// Rows of one flight in one sector: they stand together, in order.
struct LevelBlock {
  std::uint32_t flight{};
  std::uint16_t sector{};
  std::uint32_t first_row{}, n_rows{};
};

struct LevelData {
  int n_sectors{}, n_flights{}, n_hours{}, n_covariates{};
  std::vector<LevelRow> rows;
  std::vector<LevelBlock> blocks;  ///< by flight, ascending
  /// By flight: the first flight of the same airframe, itself if it is the first. Empty: each
  /// flight is of its own.
  std::vector<std::uint32_t> airframe;
};

/// Gain by elevation, antenna and aircraft together, less a half-wave dipole's. Straight between
/// knots, the end's beyond the first and last.
struct ElevationCurve {
  static constexpr double first_deg = 0.5, step_deg = 0.5;
  static constexpr int n_knots = 24;  ///< to 12 degrees
  Eigen::VectorXd gain_db;            ///< [n_knots]; empty: a dipole. 0 at the knot told best
  Eigen::MatrixXd covariance;         ///< robust, with what the prior leaves open
  std::vector<int> flights;           ///< [n_knots] with information there

  static double knot_deg(int knot) { return first_deg + step_deg * knot; }
  double at(double elevation_deg) const;
};

/// An antenna whose axis is off the vertical hears elevation e - lean cos(bearing - towards).
struct Lean {
  double north_deg{}, east_deg{};  ///< components of the lean, towards north and east
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Zero();
};

struct LevelFit;

/// How the level shows.
///
/// rate:      heard ~ Binomial(n / m, 1 - (1 - p)^m),  p = pm(hour) threshold(level / w);
///            m squitters share one chance of a feed that prints at most one line per m squitters
/// strength:  observed ~ Normal(level, noise^2 / n)
/// with       level = gain(bearing) + E(elevation - lean) + flight + offset + covariates . beta,
///            flight ~ N(0, sigma_flight^2).
///
/// | symbol | meaning | prior |
/// | --- | --- | --- |
/// | gain(bearing) | a sector's in its middle, straight between the middles | neighbours differ by
/// 12 dB | | E | by knots of half a degree, less a dipole | second differences, their size
/// estimated | | lean | towards north and east | 1.5 degrees each | | w, skew, tail | width and
/// shape of the threshold | shape near the normal distribution | | pm(hour) | share that
/// overlapping messages leave | hours vary about one mean, estimated |
///
/// What a flight's level changes by from sector to sector is not a parameter: a normal change makes
/// a normal threshold wider, which w takes. Rows of one flight and sector share it, so that they
/// weigh 1 / (1 + information x variance) each.
struct LevelOptions {
  enum class Kind { rate, strength } kind = Kind::rate;
  double messages_per_chance = 1;     ///< m
  std::optional<double> softness_db;  ///< w; none: estimated
  Threshold threshold = Threshold::logistic();
  bool is_shape_free = false;   ///< skew and tail are estimated
  bool ceiling_by_hour = true;  ///< false: pm = 1
  bool random_flights = true;   ///< false: sigma_flight = 0, no elevation, one gain a sector
  double gain_prior_db = 12;    ///< neighbouring sectors differ by this: keeps a silent one finite
  std::array<double, max_covariates> covariate_prior{1, 1, 1, 1};  ///< normal, sd
  bool priors = true;    ///< false: no prior on gain and covariates
  bool leverage = true;  ///< false: plain sandwich, no small-sample correction (CR0)
  int max_iterations = 60;
  bool errors = true;  ///< false: estimates alone, for another fit to start from
  /// Where to start: the fit of a part of the same data (same sectors, hours, covariates). Many
  /// flights then need a few steps where they would need some thirty. Must outlive the call.
  const LevelFit* start = nullptr;
};

/// The fit. Gains are absolute on the model's scale (level 0 is heard half the time).
struct LevelFit {
  Eigen::VectorXd gain_db;          ///< [n_sectors] at the sector's middle
  Eigen::MatrixXd covariance;       ///< [n_sectors x n_sectors] of all that follows
  Eigen::MatrixXd open_covariance;  ///< the part that priors and misfit leave open
  /// [n_sectors] what gains move by when the softness is off by its error: all along the pattern,
  /// as it is the decibel scale's. All covariances of gains and `influence` are without it.
  Eigen::VectorXd scale_shift_db;
  Eigen::MatrixXd model_covariance;  ///< as if the model were exactly true; for comparison only
  /// [n_flights x n_sectors]: shift of gain when a flight is left out, sign reversed. All flights
  /// of an airframe are together in the row of the first.
  /// covariance = influence' influence + open_covariance
  Eigen::MatrixXd influence;
  ElevationCurve elevation;
  Lean lean;
  Eigen::VectorXd beta;             ///< [n_covariates]
  Eigen::MatrixXd beta_covariance;  ///< robust
  double softness_db{}, softness_se_db{};
  Threshold threshold = Threshold::normal();
  std::vector<double> ceiling;    ///< pm by hour
  double usual_ceiling = 1;       ///< about which hours vary
  std::vector<double> flight_db;  ///< each flight's own level
  double sigma_flight_db{}, sigma_block_db{}, noise_db{};
  /// Size of what the model leaves unexplained by bearing and elevation, and its standard score.
  double misfit_db{}, misfit_z{};
  std::vector<int> sector_flights;       ///< flights with information in the sector
  std::vector<double> sector_effective;  ///< effective number of independent airframes
  int iterations{};
  bool converged{};
  double log_likelihood{};  ///< rate only, at the estimates

  /// @param bearing_off_deg  from the middle of the sector, clockwise
  double gain_at(Eigen::Index sector, double bearing_off_deg) const;
  /// The level expected of an aircraft of middling power.
  /// @param spreading_db  -20 log10(slant / 200 km)
  /// @param cos_aspect    as Group::cos_aspect
  double level_db(Eigen::Index sector, double bearing_off_deg, double spreading_db,
                  double elevation_deg, double cos_aspect) const;
};

/// Maximises the penalised likelihood by Fisher scoring. Flights' levels are integrated out by
/// adaptive Gauss-Hermite quadrature of five nodes; what that hides of the information is taken off
/// exactly (Louis 1982, J. R. Stat. Soc. B 44:226; from memory). Cost grows linearly with rows.
/// Variances of random levels by expectation-maximisation steps.
///
/// Errors: sandwich by flight with leave-one-out leverage (the one-step jackknife, "CR3": Bell and
/// McCaffrey 2002, Survey Methodology 28:169; from memory), summed over the flights of an airframe,
/// which share transponder and antenna and are no independent witnesses. Needs some 8 of them in a
/// sector before a sector's error means much (see sector_effective). A prior counts as one more
/// witness, whose score varies by its precision; so does the misfit of each bearing and elevation.
/// An empty data set gives an empty fit that has not converged.
LevelFit fit_levels(const LevelData& data, const LevelOptions& options);

}  // namespace roundel::pattern
