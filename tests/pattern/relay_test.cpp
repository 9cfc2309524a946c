#include "analysis/pattern/relay.h"

#include <gtest/gtest.h>

#include <numeric>
#include <vector>

namespace roundel::pattern {
namespace {

using Numbers = std::vector<int>;

TEST(Relay, ShowsEveryBatchToEachInOrder) {
  constexpr int n_batches = 1000, in_a_batch = 7;
  std::vector<int> expected(n_batches * in_a_batch);
  std::iota(expected.begin(), expected.end(), 0);
  for (const std::size_t n_visitors : {1U, 2U, 5U}) {
    std::vector<Numbers> seen(n_visitors);
    std::vector<Relay<Numbers>::Visitor> visitors;
    for (Numbers& into : seen)
      visitors.emplace_back(
          [&into](const Numbers& batch) { into.insert(into.end(), batch.begin(), batch.end()); });
    Relay<Numbers> relay(std::move(visitors));
    for (int next = 0; next < n_batches * in_a_batch; next += in_a_batch) {
      Numbers& batch = relay.next();
      batch.resize(in_a_batch);
      std::iota(batch.begin(), batch.end(), next);
      relay.hand_over();
    }
    relay.finish();
    for (const Numbers& numbers : seen) EXPECT_EQ(numbers, expected) << n_visitors;
  }
}

TEST(Relay, EndsWithoutHavingHandedAnythingOver) {
  int n_batches = 0;
  {
    Relay<Numbers> relay({[&](const Numbers&) { ++n_batches; }});
    relay.next();
  }
  EXPECT_EQ(n_batches, 0);
}

}  // namespace
}  // namespace roundel::pattern
