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
/// Receivers differ, so either may be bent: z is replaced by the sinh-arcsinh transform
///     t = 1.702 (sinh(tail asinh(z / 1.702) + skew) - sinh(skew)) / (tail cosh(skew))
/// (Jones and Pewsey 2009, Biometrika 96:761, but brought to slope 1 at the half; from memory),
/// which rises everywhere. skew > 0 makes it steeper above the half than below; tail < 1 makes both
/// ends longer.
class Threshold {
 public:
  static constexpr Threshold logistic() { return {1, 0}; }
  static constexpr Threshold normal() {
    return {1.5976 / width, 0.07056 / (width * width * width)};
  }
  /// @param skew      [-0.6, 0.6]
  /// @param log_tail  natural logarithm of `tail`; [-0.6, 0.6]
  Threshold bent(double skew, double log_tail) const {
    Threshold out = *this;
    out.skew_ = std::clamp(skew, -0.6, 0.6);
    out.tail_ = std::exp(std::clamp(log_tail, -0.6, 0.6));
    return out;
  }
  double skew() const { return skew_; }
  double log_tail() const { return std::log(tail_); }

  struct At {
    double share;  ///< (0, 1)
    double slope;  ///< of the share by z
    double by_skew, by_log_tail;
  };
  /// z beyond 20 is taken for 20.
  At at(double z) const {
    z = std::clamp(z, -20.0, 20.0);
    const double u = z / width, angle = tail_ * std::asinh(u) + skew_;
    const double grown = std::exp(angle), cosh = (grown + 1 / grown) / 2;
    const double risen = (grown - 1 / grown) / 2 - std::sinh(skew_);
    const double unit = width / (tail_ * std::cosh(skew_));
    At out = straight(unit * risen, unit * tail_ / width * cosh / std::sqrt(1 + u * u));
    out.by_skew *= unit * (cosh - std::cosh(skew_) - risen * std::tanh(skew_));
    out.by_log_tail *= unit * (cosh * (angle - skew_) - risen);
    return out;
  }

  /// Log odds of the share of an unbent threshold: linear z + cubic z^3.
  double linear() const { return a_; }
  double cubic() const { return b_; }

 private:
  static constexpr double width = 1.702;  // of a logistic curve, in standard deviations
  constexpr Threshold(double a, double b) : a_(a), b_(b) {}
  At straight(double t, double slope_of_t) const {
    t = std::clamp(t, -30.0, 30.0);
    const double share = 1 / (1 + std::exp(-t * (a_ + b_ * t * t)));
    const double slope = share * (1 - share) * (a_ + 3 * b_ * t * t);
    return {share, slope * slope_of_t, slope, slope};
  }
  double a_, b_, skew_ = 0, tail_ = 1;
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
