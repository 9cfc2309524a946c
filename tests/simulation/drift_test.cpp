// Drifts of sites with a known truth.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "tests/simulation/trial_scenarios.h"

namespace roundel::calibration {
namespace {

const DriftCase& drift_case(const std::string& name) {
  const auto& all = drift_cases();
  return *std::find_if(all.begin(), all.end(),
                       [&](const DriftCase& one) { return one.name == name; });
}

// On these seeds a sector beside the obstacle is named with it. Averaged over all that is named its
// 4 dB came out as 3.3 to 3.6.
TEST(Drift, AnObstacleIsNoSmallerForASectorNamedBesideIt) {
  double sum_db = 0;
  for (const std::uint64_t seed : {7009, 7029, 7036, 7039}) {
    const DriftOutcome out = run(drift_case("obstacle-6d"), seed);
    ASSERT_TRUE(out.found) << seed;
    EXPECT_EQ(out.found->bearings_deg.size(), 13U) << seed;
    EXPECT_TRUE(out.holds) << seed;
    EXPECT_LT(out.found->high_db - out.found->low_db, 1.5) << seed;
    sum_db += out.error_db;
  }
  EXPECT_NEAR(sum_db / 4, 0, 0.25);
}

}  // namespace
}  // namespace roundel::calibration
