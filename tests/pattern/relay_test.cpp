#include "analysis/pattern/relay.h"

#include <gtest/gtest.h>

#include <numeric>
#include <vector>

#include "analysis/pattern/summaries_beside.h"

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

schema::Summary summary_at(std::int64_t hour_s) {
  schema::Summary out;
  out.hour_s = hour_s;
  return out;
}

TEST(SummariesBeside, AreLookedAtInOrderAlsoAfterAPause) {
  std::vector<std::int64_t> seen, expected;
  SummariesBeside beside([&](const schema::Summary& stored) {
    seen.push_back(stored.hour_s);
    return Result<void>();
  });
  EXPECT_TRUE(beside.finish()) << "of none";
  for (const int n : {1, 70, 64, 0, 100}) {
    for (int i = 0; i < n; ++i) {
      expected.push_back(std::ssize(expected));
      beside.add(summary_at(expected.back()));
    }
    EXPECT_TRUE(beside.finish());
    EXPECT_EQ(seen, expected);
  }
}

TEST(SummariesBeside, EndWithTheFirstThatIsNone) {
  int n_seen = 0;
  SummariesBeside beside([&](const schema::Summary& stored) -> Result<void> {
    ++n_seen;
    if (stored.hour_s == 40) return fail(Errc::corrupt, "no summary");
    return {};
  });
  for (int i = 0; i < 200; ++i) beside.add(summary_at(i));
  const auto fine = beside.finish();
  ASSERT_FALSE(fine);
  EXPECT_EQ(fine.error().code, Errc::corrupt);
  EXPECT_EQ(n_seen, 41);
  beside.add(summary_at(1));
  EXPECT_FALSE(beside.finish());
  EXPECT_EQ(n_seen, 41);
}

}  // namespace
}  // namespace roundel::pattern
