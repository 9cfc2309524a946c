// How many messages a receiver's threshold lets through at a level.
#pragma once
#include <algorithm>
#include <cmath>

namespace roundel::pattern {

/// Share of messages let through, by z = level / softness; a half at 0. Two shapes, as wide as each
/// other: they differ by 0.01 at most.
///
/// logistic:  1 / (1 + exp(-z))
/// normal:    the normal distribution at z / 1.702, written as logistic(a z + b z^3)
///            (Page 1977, Applied Statistics 26:75, within 0.0002; from memory)
///
/// With fading the truth is nearer to the normal distribution, above all where nearly all is heard.
class Threshold {
 public:
  static constexpr Threshold logistic() { return {1, 0}; }
  static constexpr Threshold normal() {
    constexpr double width = 1.702;
    return {1.5976 / width, 0.07056 / (width * width * width)};
  }

  struct At {
    double share;  ///< (0, 1)
    double slope;  ///< of the share by z
  };
  /// z beyond 20 is taken for 20.
  At at(double z) const {
    z = std::clamp(z, -20.0, 20.0);
    const double share = 1 / (1 + std::exp(-z * (a_ + b_ * z * z)));
    return {share, share * (1 - share) * (a_ + 3 * b_ * z * z)};
  }

  /// Log odds of the share: linear z + cubic z^3.
  double linear() const { return a_; }
  double cubic() const { return b_; }

 private:
  constexpr Threshold(double a, double b) : a_(a), b_(b) {}
  double a_, b_;
};

/// What a count says of a level, per dB: the slope of its log likelihood, and its information.
struct Told {
  double score{}, information{};
};
/// heard ~ Binomial(chances / m, 1 - (1 - p)^m), p = ceiling threshold(level / softness), m
/// messages of which one chance shows one.
inline Told told(const Threshold& threshold, double level_db, double softness_db, double ceiling,
                 double m, double heard, double chances) {
  const Threshold::At at = threshold.at(level_db / softness_db);
  const double p = ceiling * at.share, n = chances / m;
  const double missed = m == 1 ? 1.0 : std::pow(1 - p, m - 1);
  const double q = std::clamp(1 - missed * (1 - p), 1e-6, 1 - 1e-6);
  const double slope = m * missed * ceiling * at.slope / softness_db;
  const double per_variance = slope / (q * (1 - q));
  return {(std::min(heard, n) - n * q) * per_variance, n * slope * per_variance};
}

}  // namespace roundel::pattern
