// Does a mast beside the antenna explain a measured pattern, and which?
#pragma once
#include <string_view>
#include <vector>

namespace roundel::pattern {
struct Curve;
}

namespace roundel::trial {

enum class MastAnswer {
  explains,  ///< a mast makes such a pattern
  fails,     ///< the best one leaves too much of it
  flat,      ///< there is nothing to explain
};
std::string_view name_of(MastAnswer answer);

struct MastFit {
  MastAnswer answer = MastAnswer::flat;
  struct Estimate {
    double value{}, low{}, high{};
  };
  Estimate radius_mm, spacing_mm;
  Estimate bearing_deg;  ///< of the mast from the antenna, [0, 360); low and high may lie outside
  double ripple_db{};    ///< that the fitted mast makes
  double explains{};     ///< share of the pattern's variance over bearings, [0, 1]
  std::vector<double> gain_db;  ///< the fitted mast's pattern by sector, mean zero
};

/// Least squares of MastModel (mast_model.h) on a pattern, weighted by its covariance with 0.15 dB
/// added for what no model knows. Searched: radius 0.4 to 200 mm, spacing 20 to 1500 mm, all
/// bearings; refined by Levenberg and Marquardt from the ten best spacings. Intervals: linear, and
/// over all the minima that the data do not exclude (spacings repeat by half a wavelength). The
/// radius is weakly told: the ripple goes with its logarithm. A feeder beside the element counts as
/// a thin mast.
///
/// flat: the pattern's rms is below 0.3 dB, or a flat one fits it within its errors (chi-squared
/// below the number of bearings). explains: otherwise, from 70 % of the variance on (common
/// practice, no source).
MastFit fit_mast(const pattern::Curve& curve, double confidence = 0.95);

}  // namespace roundel::trial
