#include "daemon/serve/answer_cache.h"

#include <gtest/gtest.h>

#include <string>

namespace roundel::serve {
namespace {

using namespace std::chrono_literals;
using Clock = AnswerCache::Clock;
using Ready = std::shared_ptr<const Rendered>;

constexpr Clock::time_point start{1h};
constexpr DataVersion first{.data = 1, .trials = 1, .file = 1};
constexpr DataVersion more_cells{.data = 2, .trials = 1, .file = 1};

Ready body(std::string text) {
  return std::make_shared<const Rendered>(render({.body = std::move(text)}));
}

class AnswerCacheTest : public testing::Test {
 protected:
  void keep(const std::string& key, Ready answer, Clock::duration took = 1ms,
            Clock::time_point begun = start) {
    cache_.keep(key, {.key = key, .may_age = true, .is_lasting = true}, {first, begun},
                std::move(answer), took);
  }
  Ready find(const std::string& key, const DataVersion& version = first,
             Clock::time_point now = start) {
    const auto found = cache_.find(key, version, now);
    return found ? found->answer : nullptr;
  }
  std::vector<std::string> lasting(std::size_t most) {
    std::vector<std::string> keys;
    for (const Work& work : cache_.lasting(most)) keys.push_back(work.key);
    return keys;
  }

  AnswerCache cache_{10'000};
};

TEST_F(AnswerCacheTest, GivesBackWhatBelongsToThisVersion) {
  const Ready answer = body("x");
  keep("/a", answer);
  const auto found = cache_.find("/a", first, start + 1h);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->answer, answer);
  EXPECT_FALSE(found->age) << "nothing was written, so it is right";
  EXPECT_FALSE(found->due);
  EXPECT_EQ(find("/b"), nullptr);
  EXPECT_EQ(find("/a", more_cells), nullptr);
  EXPECT_EQ(cache_.bytes(), 0u) << "what was quick is worked out anew";
}

TEST_F(AnswerCacheTest, GivesWhatTookLongAsWhatItIs) {
  const Ready answer = body("x");
  keep("/a", answer, 2s);
  auto found = cache_.find("/a", more_cells, start + 59s);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->answer, answer);
  EXPECT_EQ(found->age, 59s);
  EXPECT_FALSE(found->due) << "it would take more than a thirtieth of a core";
  found = cache_.find("/a", more_cells, start + 60s);
  ASSERT_TRUE(found);
  EXPECT_TRUE(found->due);
  EXPECT_EQ(find("/a", more_cells, start + 119min), answer);
  EXPECT_EQ(find("/a", more_cells, start + 120min), nullptr) << "too old for anybody";
}

TEST_F(AnswerCacheTest, GivesOnlyWhatMayAgeLater) {
  cache_.keep("/status", {.key = "/status"}, {first, start}, body("x"), 2s);
  EXPECT_NE(find("/status"), nullptr);
  EXPECT_EQ(find("/status", more_cells), nullptr);
}

TEST_F(AnswerCacheTest, GivesNothingOfOtherTrialsOrAnotherFile) {
  keep("/a", body("x"), 2s);
  EXPECT_EQ(find("/a", {.data = 1, .trials = 2, .file = 1}), nullptr);
  keep("/a", body("x"), 2s);
  EXPECT_EQ(find("/a", {.data = 1, .trials = 1, .file = 2}), nullptr);
}

TEST_F(AnswerCacheTest, ForgetsWhatWasAskedForLongestAgo) {
  cache_ = AnswerCache(3'000);
  keep("/a", body(std::string(700, 'a')));
  keep("/b", body(std::string(700, 'b')));
  keep("/c", body(std::string(700, 'c')));
  EXPECT_NE(find("/a"), nullptr);
  keep("/d", body(std::string(700, 'd')));
  EXPECT_NE(find("/a"), nullptr);
  EXPECT_EQ(find("/b"), nullptr);
  EXPECT_LE(cache_.bytes(), 3'000u);
}

TEST_F(AnswerCacheTest, DoesNotKeepWhatIsTooLargeAndReplacesWhatIsThere) {
  cache_ = AnswerCache(1'000);
  keep("/large", body(std::string(1'000, 'x')));
  EXPECT_EQ(find("/large"), nullptr);
  keep("/a", body("old"));
  const auto bytes = cache_.bytes();
  const Ready fresh = body("new");
  keep("/a", fresh);
  EXPECT_EQ(find("/a"), fresh);
  EXPECT_EQ(cache_.bytes(), bytes);
}

// Two threads may work out the same, and the one that began later may end earlier.
TEST_F(AnswerCacheTest, KeepsTheNewerOfTwo) {
  const Ready newer = body("newer");
  keep("/a", newer, 2s, start + 10s);
  keep("/a", body("older"), 2s, start);
  EXPECT_EQ(find("/a"), newer);
}

TEST_F(AnswerCacheTest, TellsWhichQuestionsToAskAgain) {
  for (const char* key : {"/a", "/b", "/c"}) keep(key, body("x"), 2s);
  keep("/quick", body("x"), 1ms);
  cache_.keep("/of a week", {.key = "/of a week", .is_lasting = false}, {first, start}, body("x"),
              2s);
  EXPECT_EQ(lasting(2), (std::vector<std::string>{"/c", "/b"}));
  find("/a");
  EXPECT_EQ(lasting(8), (std::vector<std::string>{"/a", "/c", "/b"}));
  // Nobody asked: it does not count as the newest for being worked out again.
  keep("/b", body("y"), 2s, start + 1h);
  EXPECT_EQ(lasting(8), (std::vector<std::string>{"/a", "/c", "/b"}));
}

}  // namespace
}  // namespace roundel::serve
