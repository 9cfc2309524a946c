// Against published worked examples: tests/reference/README.md, section 6.
#include <gtest/gtest.h>

#include <cmath>
#include <sstream>

#include "roundel/pattern/circle.h"
#include "roundel/pattern/share.h"
#include "tests/reference/csv.h"

namespace roundel::pattern {
namespace {

TEST(Wilson, AgreesWithNewcombesTable) {
  for (const auto& row : reference::rows("stats_wilson.csv")) {
    const auto interval = wilson(std::stoll(row.at("x")), std::stoll(row.at("n")), 0.95);
    EXPECT_NEAR(interval.low, reference::number(row, "wilson_low"), 1e-9) << row.at("x");
    EXPECT_NEAR(interval.high, reference::number(row, "wilson_high"), 1e-9) << row.at("x");
  }
}

// Upper limit of none in n: z^2 / (n + z^2); z = 1.959963984540054 (comment in stats_wilson.csv).
TEST(Wilson, EndsExactlyAtNoneAndAll) {
  const double z2 = 1.959963984540054 * 1.959963984540054;
  EXPECT_EQ(wilson(0, 20, 0.95).low, 0);
  EXPECT_NEAR(wilson(0, 20, 0.95).high, z2 / (20 + z2), 1e-12);
  EXPECT_EQ(wilson(20, 20, 0.95).high, 1);
  EXPECT_NEAR(wilson(20, 20, 0.95).low, 20 / (20 + z2), 1e-12);
  EXPECT_EQ(wilson(0, 0, 0.95).low, 0);
  EXPECT_EQ(wilson(0, 0, 0.95).high, 1);
}

// Of n directions counted by degree the first Fourier order is 2 R / 360 towards the mean
// direction, R = n r.
TEST(Harmonics, FirstOrderIsTheMeanDirectionAndResultantOfCircularStatistics) {
  for (const auto& row : reference::rows("stats_circular.csv")) {
    // Bins of a hundredth of a degree stand for their middles: some angles are given finer, so each
    // may be 0.005 degrees (8.7e-5 radians) off, and with them r, and the direction by that over r.
    constexpr int n = 36000;
    Eigen::VectorXd counts = Eigen::VectorXd::Zero(n);
    std::istringstream angles(row.at("angles_deg"));
    double count = 0;
    for (double angle_deg; angles >> angle_deg; ++count)
      counts[static_cast<int>(std::lround(angle_deg * 100)) % n] += 1;
    ASSERT_EQ(count, reference::number(row, "n")) << row.at("set");
    const Harmonic first = harmonic(counts, 1);
    EXPECT_NEAR(first.amplitude_db * n / 2 / count, reference::number(row, "r"), 8.8e-5)
        << row.at("set");
    EXPECT_NEAR(
        std::remainder(first.phase_deg - 0.005 - reference::number(row, "mean_direction_deg"), 360),
        0, 0.005 / reference::number(row, "r"))
        << row.at("set");
  }
}

// Standard normal table (any handbook; from memory to these digits).
TEST(NormalReach, IsThatOfTheTables) {
  EXPECT_NEAR(normal_reach(0.90), 1.644854, 5e-7);
  EXPECT_NEAR(normal_reach(0.95), 1.959964, 5e-7);
  EXPECT_NEAR(normal_reach(0.99), 2.575829, 5e-7);
  EXPECT_EQ(normal_reach(0), 0);
}

}  // namespace
}  // namespace roundel::pattern
