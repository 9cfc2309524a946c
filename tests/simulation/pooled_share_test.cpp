#include "tests/simulation/pooled_share.h"

#include <gtest/gtest.h>

namespace roundel::calibration {
namespace {

// By hand: 57 of 60; off it by -0.5, 0.5, 1, -1.5 and 0.5, squares 4, 4 x 5 / 4 = 5;
// 2.776 x sqrt(5) / 60, Student's t of 4 degrees.
TEST(PooledShare, GoesByTheRunsNotByTheirIntervals) {
  const PooledShare share = pooled({{9, 10}, {10, 10}, {20, 20}, {8, 10}, {10, 10}});
  EXPECT_EQ(share.holding, 57);
  EXPECT_EQ(share.of, 60);
  EXPECT_DOUBLE_EQ(share.value, 0.95);
  ASSERT_TRUE(share.half_width);
  EXPECT_NEAR(*share.half_width, 0.10346, 0.0004);
  EXPECT_FALSE(pooled({{9, 10}}).half_width);
  EXPECT_EQ(pooled({}).of, 0);
}

}  // namespace
}  // namespace roundel::calibration
