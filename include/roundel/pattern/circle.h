// A noisy curve around the compass made smooth, with honest bands.
#pragma once
#include <Eigen/Core>
#include <cstdint>
#include <vector>

namespace roundel::pattern {

/// A curve over evenly spaced bearings, with its uncertainty.
struct Curve {
  Eigen::VectorXd value;       ///< [n]
  Eigen::MatrixXd covariance;  ///< [n x n]
  std::vector<bool> known;     ///< [n] rests on data of its own; others are interpolated
  double roughness_db{};       ///< posterior mean of the prior's standard deviation over bearings
  int n() const { return static_cast<int>(value.size()); }
  double se(int i) const;
};

/// Smooths `raw` (covariance `errors`) where `known`, and predicts elsewhere.
///
/// Model: raw = curve + error, error ~ N(0, errors); curve = constant (flat prior) + Fourier orders
/// 1 .. n/2 with variances t^2 / (1 + (order / r)^4), normed so that t is the curve's standard
/// deviation over bearings. t (0.2 to 8 dB: no antenna is perfectly round) and r (1 to 16) are
/// averaged over by their marginal likelihood on a grid, so nothing is tuned. The posterior
/// band of such a smoother covers with its nominal rate on average over bearings (Nychka 1988,
/// J. Am. Stat. Assoc. 83:1134; from memory); tests/simulation checks that it does here.
/// Result: mean over known bearings is zero.
Curve smooth(const Eigen::VectorXd& raw, const Eigen::MatrixXd& errors,
             const std::vector<bool>& known);

/// The curve less its mean over known bearings, covariance alike; nothing smoothed.
Curve centred(const Eigen::VectorXd& raw, const Eigen::MatrixXd& errors,
              const std::vector<bool>& known);

/// Critical values for statements about all known bearings at once, by simulation (seeded).
struct Simultaneous {
  double band{};  ///< |error_i| <= band * se_i for all i
  double pair{};  ///< |error_i - error_j| <= pair * se_ij for all i, j
};
Simultaneous simultaneous(const Curve& curve, double confidence, std::uint64_t seed = 1);

/// Bounds of the difference of any two known bearings, that hold for every pair at once and so for
/// the two extremes as well.
struct PairBounds {
  double low_db{}, high_db{};
};
PairBounds certain(const Curve& curve, double confidence, std::uint64_t seed = 1);

/// Peak-to-peak of the known part, less what noise adds, with bounds.
struct Ripple {
  double value_db{};
  double low_db{}, high_db{};                  ///< interval at the confidence asked
  double certain_low_db{}, certain_high_db{};  ///< of certain(): for tests
};
Ripple ripple(const Curve& curve, double confidence, std::uint64_t seed = 1);

/// One Fourier order of the curve over bearings; phase is the bearing of its maximum nearest north.
struct Harmonic {
  int order{};
  double amplitude_db{}, low_db{}, high_db{};
  double phase_deg{};
};
/// One order of a curve as it stands, noise and all: low and high are its amplitude.
Harmonic harmonic(const Eigen::VectorXd& value, int order);
/// Orders 1 .. max_order. Amplitudes are less what noise adds; low_db is 0 when the order does not
/// stand out of the noise.
std::vector<Harmonic> harmonics(const Curve& curve, int max_order, double confidence,
                                std::uint64_t seed = 1);

}  // namespace roundel::pattern
