// The regression behind every pattern: levels by sector, with flights that differ in level.
#pragma once
#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "roundel/pattern/threshold.h"

namespace roundel::pattern {

/// Covariates a row may carry, besides its sector.
inline constexpr int max_covariates = 3;

/// One observation: heard of chances (rate), or a mean level of n reports (strength).
struct LevelRow {
  float offset_db{};  ///< what geometry adds to the level: x
  float chances{};    ///< n
  float observed{};   ///< rate: reports heard, 0 .. n. strength: mean level, dB
  std::uint16_t hour{};
  float bearing_off_deg{};  ///< from the middle of the sector
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

struct LevelFit;

/// How the level shows.
///
/// rate:      heard ~ Binomial(n / m, 1 - (1 - p)^m),  p = pm(hour) threshold(level / w);
///            m squitters share one chance of a feed that prints at most one line per m squitters
/// strength:  observed ~ Normal(level, noise^2 / n)
/// with       level = gain(bearing) + flight + flight:sector + offset + covariates . beta,
///            flight ~ N(0, sigma_flight^2), flight:sector ~ N(0, sigma_block^2).
/// With random flights gain(bearing) is the sector's in its middle and goes, within it, by the
/// slope between its neighbours, where there are any; without, it is one figure a sector.
struct LevelOptions {
  enum class Kind { rate, strength } kind = Kind::rate;
  double messages_per_chance = 1;     ///< m
  std::optional<double> softness_db;  ///< w; none: estimated
  Threshold threshold = Threshold::logistic();
  bool ceiling_by_hour = true;  ///< false: pm = 1
  bool random_flights = true;   ///< false: sigma_flight = sigma_block = 0
  double gain_prior_db = 12;    ///< wide normal prior that keeps a silent sector finite
  std::array<double, max_covariates> covariate_prior{1, 1, 1};  ///< normal, sd
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
  Eigen::VectorXd gain_db;           ///< [n_sectors] at the sector's middle
  Eigen::VectorXd slope_db;          ///< [n_sectors] per degree of bearing within the sector
  Eigen::MatrixXd covariance;        ///< [n_sectors x n_sectors], robust: clustered by flight
  Eigen::MatrixXd model_covariance;  ///< as if the model were exactly true; for comparison only
  /// [n_flights x n_sectors]: shift of gain when a flight is left out, sign reversed. All flights
  /// of an airframe are together in the row of the first. covariance = influence' influence
  Eigen::MatrixXd influence;
  Eigen::VectorXd beta;             ///< [n_covariates]
  Eigen::MatrixXd beta_covariance;  ///< robust
  double softness_db{}, softness_se_db{};
  std::vector<double> ceiling;    ///< pm by hour
  std::vector<double> flight_db;  ///< each flight's own level
  double sigma_flight_db{}, sigma_block_db{}, noise_db{};
  std::vector<int> sector_flights;       ///< flights with information in the sector
  std::vector<double> sector_effective;  ///< effective number of independent airframes
  std::vector<double> sector_off_deg;  ///< where in the sector, from its middle, its gain was seen
  int iterations{};
  bool converged{};
  double log_likelihood{};  ///< rate only, at the estimates, flights' levels included

  /// @param bearing_off_deg  from the middle of the sector, clockwise
  double gain_at(Eigen::Index sector, double bearing_off_deg) const {
    return gain_db[sector] + (slope_db.size() > 0 ? slope_db[sector] * bearing_off_deg : 0);
  }
};

/// Maximises the penalised likelihood by Fisher scoring; flight and flight:sector levels of a rate
/// are integrated out by Gauss-Hermite quadrature, those of a strength pattern, which is linear,
/// eliminated. Cost grows linearly with rows. Variances of the random levels by
/// expectation-maximisation steps; of a rate's blocks a tenth is taken to have 1 dB.
///
/// Errors: sandwich by flight with leave-one-out leverage (the one-step jackknife, "CR3": Bell and
/// McCaffrey 2002, Survey Methodology 28:169; from memory), summed over the flights of an airframe,
/// which share transponder and antenna and are no independent witnesses. Needs some 8 of them in a
/// sector before a sector's error means much (see sector_effective).
/// An empty data set gives an empty fit that has not converged.
LevelFit fit_levels(const LevelData& data, const LevelOptions& options);

}  // namespace roundel::pattern
