// The C library is the reference for the elementary functions (1 ulp), Boost.Math for the normal
// distribution.
#include "analysis/simulate/numeric.h"

#include <gtest/gtest.h>

#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <vector>

#include "analysis/simulate/random.h"

namespace roundel::simulate {
namespace {

TEST(Numeric, LogarithmAgreesWithTheLibrary) {
  for (double x = 1e-12; x < 1e12; x *= 1.0137)
    ASSERT_NEAR(log_of(x), std::log(x), 2e-14 * std::max(1.0, std::fabs(std::log(x)))) << x;
  EXPECT_EQ(log_of(1), 0);
}

TEST(Numeric, ExponentialAgreesWithTheLibrary) {
  for (double x = -600; x < 600; x += 0.137) ASSERT_NEAR(exp_of(x) / std::exp(x), 1, 1e-14) << x;
  EXPECT_EQ(exp_of(-1000), 0);
  EXPECT_TRUE(std::isfinite(exp_of(1e6)));
}

TEST(Numeric, SineAndCosineAgreeWithTheLibrary) {
  for (double x = -50; x < 50; x += 0.0137) {
    ASSERT_NEAR(sin_cos(x).sin, std::sin(x), 2e-14) << x;
    ASSERT_NEAR(sin_cos(x).cos, std::cos(x), 2e-14) << x;
  }
}

TEST(Numeric, AngleAgreesWithTheLibraryInEveryQuadrant) {
  for (double x = -3; x <= 3; x += 0.0625)
    for (double y = -3; y <= 3; y += 0.0625)
      ASSERT_NEAR(angle_of(y, x), std::atan2(y, x), 2e-14) << y << ' ' << x;
}

TEST(Numeric, BetweenBearingsGoesClockwiseThroughNorth) {
  EXPECT_TRUE(lies_between(5, 350, 20));
  EXPECT_FALSE(lies_between(180, 350, 20));
  EXPECT_TRUE(lies_between(180, 20, 350));
  EXPECT_TRUE(lies_between(123, 0, 360));
  EXPECT_TRUE(lies_between(350, -20, 20));
}

TEST(Random, NormalQuantileAgreesWithBoost) {
  const boost::math::normal_distribution<> normal;
  for (const double p :
       {1e-15, 1e-9, 1e-4, 0.02, 0.07, 0.075, 0.3, 0.5, 0.8, 0.925, 0.999, 1 - 1e-9})
    EXPECT_NEAR(Random::normal_quantile(p), boost::math::quantile(normal, p), 1e-7 * p + 1e-12)
        << p;
}

TEST(Random, DrawsHaveTheirMeanAndVariance) {
  Random random(5, Purpose::layout);
  struct Moments {
    double sum = 0, square = 0;
    void add(double x) { sum += x, square += x * x; }
  } normal, bell, exponential, binomial;
  constexpr int n = 200000;
  for (int i = 0; i < n; ++i) {
    normal.add(random.normal());
    bell.add(random.bell());
    exponential.add(random.exponential());
    binomial.add(random.binomial(20, 0.85));
  }
  // Four standard errors: 4 sqrt(variance / n) for means, 4 sqrt((kurtosis - 1) / n) variance.
  EXPECT_NEAR(normal.sum / n, 0, 0.009);
  EXPECT_NEAR(normal.square / n, 1, 0.013);
  EXPECT_NEAR(bell.sum / n, 0, 0.009);
  EXPECT_NEAR(bell.square / n, 1, 0.012);
  EXPECT_NEAR(exponential.sum / n, 1, 0.009);
  EXPECT_NEAR(exponential.square / n, 2, 0.04);
  EXPECT_NEAR(binomial.sum / n, 17, 0.015);
  EXPECT_NEAR(binomial.square / n - 17 * 17, 2.55, 0.5);
}

TEST(Random, BinomialFollowsItsDistribution) {
  Random random(9, Purpose::layout);
  // P(k of 4) at 0.3: 0.2401, 0.4116, 0.2646, 0.0756, 0.0081, by hand.
  std::vector<int> counts(5);
  constexpr int n = 100000;
  for (int i = 0; i < n; ++i) ++counts[static_cast<std::size_t>(random.binomial(4, 0.3))];
  const double expected[] = {0.2401, 0.4116, 0.2646, 0.0756, 0.0081};
  for (std::size_t k = 0; k < 5; ++k)
    EXPECT_NEAR(counts[k] / static_cast<double>(n), expected[k], 4 * std::sqrt(0.25 / n)) << k;
}

TEST(Random, StreamsOfDifferentPurposeDiffer) {
  EXPECT_NE(Random(1, Purpose::layout).bits(), Random(1, Purpose::traffic).bits());
  EXPECT_NE(Random(1, Purpose::layout, 0, 1).bits(), Random(1, Purpose::layout, 1, 0).bits());
  EXPECT_EQ(Random(1, Purpose::layout, 3, 4).bits(), Random(1, Purpose::layout, 3, 4).bits());
}

}  // namespace
}  // namespace roundel::simulate
