#include "analysis/pattern/beside.h"

#include <gtest/gtest.h>

#include <vector>

namespace roundel::pattern {
namespace {

TEST(Beside, DoesEveryPartOnce) {
  for (const std::size_t n : {0U, 1U, 2U, 1000U}) {
    std::vector<int> times(n, 0);
    each_beside(n, [&](std::size_t i) { ++times[i]; });
    EXPECT_EQ(times, std::vector<int>(n, 1));
  }
}

}  // namespace
}  // namespace roundel::pattern
