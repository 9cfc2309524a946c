#include "daemon/serve/lane.h"

#include <gtest/gtest.h>
#include <sched.h>

#include <future>
#include <stdexcept>
#include <string>
#include <thread>

#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

class LaneTest : public testing::Test {
 protected:
  LaneTest() : file_(sample_store(folder_)), lane_(file_, 4, large_) {}

  static Work work(std::function<Result<Answer>(const schema::Store&)> what) {
    return {.work = std::move(what)};
  }
  static Answer ask(Lane& lane, std::function<Result<Answer>(const schema::Store&)> what) {
    std::promise<Answer> promise;
    auto future = promise.get_future();
    EXPECT_TRUE(lane.submit(work(std::move(what)), [&](const Worked& worked) {
      promise.set_value(worked.answer->answer);
    }));
    return future.get();
  }

  TemporaryFolder folder_;
  std::filesystem::path file_;
  Turn large_;
  Lane lane_;
};

TEST_F(LaneTest, ErrorsAreAnswered) {
  EXPECT_EQ(
      ask(lane_, [](const schema::Store&) -> Result<Answer> { return fail(Errc::busy, "locked"); })
          .status,
      503);
  EXPECT_EQ(ask(lane_, [](const schema::Store&) -> Result<Answer> { return Answer{}; }).status,
            200);
}

TEST_F(LaneTest, AFaultInOneAnswerIsNotTheEndOfTheNext) {
  const auto broken =
      ask(lane_, [](const schema::Store&) -> Result<Answer> { throw std::logic_error("broken"); });
  EXPECT_EQ(broken.status, 500);
  EXPECT_EQ(broken.body.find("broken"), std::string::npos) << "kept for the log";
  EXPECT_EQ(ask(lane_, [](const schema::Store&) -> Result<Answer> { return Answer{}; }).status,
            200);
}

TEST_F(LaneTest, OnlyWhatIsLargeWaitsForItsTurn) {
  large_.take(false);
  EXPECT_EQ(ask(lane_, [](const schema::Store&) -> Result<Answer> { return Answer{}; }).status,
            200);
  std::promise<void> done;
  Work large = work([](const schema::Store&) -> Result<Answer> { return Answer{}; });
  large.is_large = true;
  EXPECT_TRUE(lane_.submit(std::move(large), [&](const Worked&) { done.set_value(); }));
  while (large_.n_hurried() == 0) std::this_thread::yield();
  large_.give_back();
  done.get_future().get();
}

TEST_F(LaneTest, AnIdleOneAndItsThreadsRunWhenNothingElseDoes) {
  const auto policy = [](const schema::Store&) -> Result<Answer> {
    int inherited = -1;
    std::thread([&] { inherited = ::sched_getscheduler(0); }).join();
    return Answer{.body = std::to_string(inherited)};
  };
  Lane idle(file_, 4, large_, Lane::Priority::idle);
  EXPECT_EQ(ask(idle, policy).body, std::to_string(SCHED_IDLE));
  EXPECT_EQ(ask(lane_, policy).body, std::to_string(SCHED_OTHER));
}

// A question waited for all that was being prepared, one after the other: drift 19 s.
TEST(Turn, GoesToWhoIsHurriedFirst) {
  Turn turn;
  std::string order;
  turn.take(false);
  std::thread other([&] {
    turn.take(false);
    order += "idle";
    turn.give_back();
  });
  std::thread hurried([&] {
    turn.take(true);
    order += "hurried ";
    turn.give_back();
  });
  while (turn.n_hurried() == 0) std::this_thread::yield();
  turn.give_back();
  hurried.join();
  other.join();
  EXPECT_EQ(order, "hurried idle");
}

TEST_F(LaneTest, RefusesWhatDoesNotFitAndWhatComesTooLate) {
  std::promise<void> started, may_end;
  auto wait = may_end.get_future().share();
  const auto nothing = [](const Worked&) {};
  ASSERT_TRUE(lane_.submit(work([&](const schema::Store&) -> Result<Answer> {
                             started.set_value();
                             wait.wait();
                             return Answer{};
                           }),
                           nothing));
  started.get_future().wait();
  const Work quick = work([](const schema::Store&) -> Result<Answer> { return Answer{}; });
  for (int i = 0; i < 4; ++i) {
    EXPECT_TRUE(lane_.submit(quick, nothing));
  }
  EXPECT_FALSE(lane_.submit(quick, nothing));
  may_end.set_value();
  lane_.stop();
  EXPECT_FALSE(lane_.submit(quick, nothing));
}

}  // namespace
}  // namespace roundel::serve
