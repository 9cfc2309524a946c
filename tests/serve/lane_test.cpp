#include "daemon/serve/lane.h"

#include <gtest/gtest.h>

#include <ctime>
#include <future>
#include <stdexcept>
#include <string>

#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using Ready = std::shared_ptr<const Rendered>;

Ready rendered(std::string body) {
  return std::make_shared<const Rendered>(render({.body = std::move(body)}));
}

TEST(AnswerCache, GivesBackWhatBelongsToThisVersion) {
  AnswerCache cache(10'000);
  const Ready answer = rendered("x");
  cache.keep("/a", {1, 1}, answer);
  EXPECT_EQ(cache.find("/a", {1, 1}), answer);
  EXPECT_EQ(cache.find("/b", {1, 1}), nullptr);
  EXPECT_EQ(cache.find("/a", {2, 1}), nullptr);
  EXPECT_EQ(cache.bytes(), 0u) << "an answer whose data has changed is never right again";
}

TEST(AnswerCache, ForgetsWhatWasAskedForLongestAgo) {
  AnswerCache cache(3'000);
  cache.keep("/a", {1, 1}, rendered(std::string(800, 'a')));
  cache.keep("/b", {1, 1}, rendered(std::string(800, 'b')));
  cache.keep("/c", {1, 1}, rendered(std::string(800, 'c')));
  EXPECT_NE(cache.find("/a", {1, 1}), nullptr);
  cache.keep("/d", {1, 1}, rendered(std::string(800, 'd')));
  EXPECT_NE(cache.find("/a", {1, 1}), nullptr);
  EXPECT_EQ(cache.find("/b", {1, 1}), nullptr);
  EXPECT_LE(cache.bytes(), 3'000u);
}

TEST(AnswerCache, DoesNotKeepWhatIsTooLargeAndReplacesWhatIsThere) {
  AnswerCache cache(1'000);
  cache.keep("/large", {1, 1}, rendered(std::string(1'000, 'x')));
  EXPECT_EQ(cache.find("/large", {1, 1}), nullptr);
  cache.keep("/a", {1, 1}, rendered("old"));
  const auto bytes = cache.bytes();
  const Ready fresh = rendered("new");
  cache.keep("/a", {1, 1}, fresh);
  EXPECT_EQ(cache.find("/a", {1, 1}), fresh);
  EXPECT_EQ(cache.bytes(), bytes);
}

TEST(AnswerCache, GivesWhatMayBeOlderUntilItsTimeOrAnotherTrial) {
  AnswerCache cache(10'000);
  const AnswerCache::Clock::time_point start{std::chrono::hours{1}};
  const Ready answer = rendered("x");
  cache.keep("/a", {1, 1}, answer, start + std::chrono::minutes{5});
  EXPECT_EQ(cache.find("/a", {2, 1}, start + std::chrono::minutes{4}), answer);
  EXPECT_EQ(cache.find("/a", {1, 1}, start + std::chrono::minutes{6}), answer) << "nothing came";
  EXPECT_EQ(cache.find("/a", {2, 2}, start), nullptr) << "another trial";
  cache.keep("/a", {1, 1}, answer, start + std::chrono::minutes{5});
  EXPECT_EQ(cache.find("/a", {2, 1}, start + std::chrono::minutes{5}), nullptr);
}

class LaneTest : public testing::Test {
 protected:
  LaneTest() : file_(sample_store(folder_)), lane_(file_, 4, 1'000'000) {}

  Ready ask(const std::string& key, std::function<Result<Answer>(const schema::Store&)> work) {
    std::promise<Ready> promise;
    auto future = promise.get_future();
    EXPECT_TRUE(lane_.submit({.key = key, .work = std::move(work), .done = [&](Ready ready) {
                                promise.set_value(std::move(ready));
                              }}));
    return future.get();
  }
  Ready ask_counting(const std::string& key) {
    return ask(key, [this](const schema::Store&) -> Result<Answer> {
      return Answer{.body = std::to_string(++n_worked_)};
    });
  }

  TemporaryFolder folder_;
  std::filesystem::path file_;
  int n_worked_ = 0;
  Lane lane_;
};

TEST_F(LaneTest, WorksOutOnceWhileTheDataIsTheSame) {
  const Ready first = ask_counting("/a");
  EXPECT_EQ(ask_counting("/a"), first);
  EXPECT_EQ(n_worked_, 1);
  ask_counting("/b");
  EXPECT_EQ(n_worked_, 2);

  auto store = must(schema::Store::open(file_, schema::Store::Access::record));
  must(store.commit(sample_batch(must(store.feed_id("roof")), 3, 2, sample_start_s + 9000, 1)));
  EXPECT_EQ(ask_counting("/a")->answer.body, "3");
  EXPECT_EQ(ask_counting("/a")->answer.body, "3");
}

TEST_F(LaneTest, GivesWhatTookLongAgainUntilATrialChanges) {
  const auto work = [this](const schema::Store&) -> Result<Answer> {
    // The clock of this program's processor time stands still while it waits for others.
    for (const auto begun = std::clock(); std::clock() - begun < CLOCKS_PER_SEC / 2;) {
    }
    return Answer{.body = std::to_string(++n_worked_)};
  };
  const Ready first = ask("/a", work);
  auto store = must(schema::Store::open(file_, schema::Store::Access::record));
  must(store.commit(sample_batch(must(store.feed_id("roof")), 3, 2, sample_start_s + 9000, 1)));
  EXPECT_EQ(ask("/a", work), first) << "for some cells more";
  must(store.add_note({.id = 0, .time_s = sample_start_s, .trial = {}, .text = "in the rain"}));
  EXPECT_EQ(ask("/a", work)->answer.body, "2");
}

TEST_F(LaneTest, ErrorsAreAnsweredAndNotKept) {
  bool is_failing = true;
  const auto work = [&](const schema::Store&) -> Result<Answer> {
    if (is_failing) return fail(Errc::busy, "locked");
    return Answer{.body = "x"};
  };
  EXPECT_EQ(ask("/a", work)->answer.status, 503);
  is_failing = false;
  EXPECT_EQ(ask("/a", work)->answer.status, 200);
}

TEST_F(LaneTest, AFaultInOneAnswerIsNotTheEndOfTheNext) {
  const Ready broken =
      ask("/a", [](const schema::Store&) -> Result<Answer> { throw std::logic_error("broken"); });
  EXPECT_EQ(broken->answer.status, 500);
  EXPECT_EQ(broken->answer.body.find("broken"), std::string::npos) << "kept for the log";
  EXPECT_EQ(ask_counting("/a")->answer.status, 200);
}

// Under fifty clients that asked for one verdict, which was known, a third and more were refused.
TEST_F(LaneTest, ThoseWhoAskTheSameTakeOnePlace) {
  std::promise<void> started, may_end;
  auto wait = may_end.get_future().share();
  ASSERT_TRUE(lane_.submit({.key = "",
                            .work = [&](const schema::Store&) -> Result<Answer> {
                              started.set_value();
                              wait.wait();
                              return Answer{};
                            },
                            .done = [](Ready) {}}));
  started.get_future().wait();
  std::promise<void> all_answered;
  int n_answered = 0;
  const auto submit = [&](std::string key) {
    return lane_.submit({.key = std::move(key),
                         .work = [this](const schema::Store&) -> Result<Answer> {
                           return Answer{.body = std::to_string(++n_worked_)};
                         },
                         .done =
                             [&](const Ready& ready) {
                               EXPECT_EQ(ready->answer.status, 200);
                               if (++n_answered == 50 + 3) all_answered.set_value();
                             }});
  };
  for (int i = 0; i < 50; ++i) EXPECT_TRUE(submit("/a"));
  for (const char* key : {"/b", "/c", "/d"}) EXPECT_TRUE(submit(key));
  EXPECT_FALSE(submit("/e")) << "four places are taken";
  may_end.set_value();
  all_answered.get_future().wait();
  EXPECT_EQ(n_worked_, 4);
  EXPECT_EQ(ask_counting("/e")->answer.body, "5") << "there is room again";
}

TEST_F(LaneTest, RefusesWhatDoesNotFitAndWhatComesTooLate) {
  std::promise<void> started, may_end;
  auto wait = may_end.get_future().share();
  const auto nothing = [](Ready) {};
  ASSERT_TRUE(lane_.submit({.key = "",
                            .work = [&](const schema::Store&) -> Result<Answer> {
                              started.set_value();
                              wait.wait();
                              return Answer{};
                            },

                            .done = nothing}));
  started.get_future().wait();
  const auto quick = [](const schema::Store&) -> Result<Answer> { return Answer{}; };
  for (int i = 0; i < 4; ++i) {
    EXPECT_TRUE(lane_.submit({.key = "", .work = quick, .done = nothing}));
  }
  EXPECT_FALSE(lane_.submit({.key = "", .work = quick, .done = nothing}));
  may_end.set_value();
  lane_.stop();
  EXPECT_FALSE(lane_.submit({.key = "", .work = quick, .done = nothing}));
}

}  // namespace
}  // namespace roundel::serve
