// Questions about the record: what is kept, what is worked out, and by whom.
#include "daemon/serve/desk.h"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <future>
#include <mutex>
#include <string>
#include <vector>

#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using namespace std::chrono_literals;

/// Opens once; whoever comes before that waits.
class Gate {
 public:
  void open() { opened_.set_value(); }
  void pass() const { future_.wait(); }

 private:
  std::promise<void> opened_;
  std::shared_future<void> future_ = opened_.get_future().share();
};

class DeskTest : public testing::Test {
 protected:
  DeskTest() : file_(sample_store(folder_)) {}

  /// @param quick  what takes no longer is worked out for whoever asks
  Desk::Options options(std::chrono::milliseconds quick = 0ms) {
    return {.store = file_,
            .queue_limit = 4,
            .patience = {.quick = quick, .times_as_long = 0},
            .first_look = 1h};
  }
  /// Answers how often it was worked out.
  Work counting(std::string key, Pace pace = Pace::slow) {
    return {.pace = pace,
            .key = std::move(key),
            .may_age = true,
            .is_lasting = true,
            .work = [this](const auto&) {
              return Result<Answer>(Answer{.body = std::to_string(++n_worked_)});
            }};
  }
  static Work waiting(std::string key, Gate& started, Gate& may_end) {
    return {.pace = Pace::slow, .key = std::move(key), .work = [&](const schema::Store&) {
              started.open();
              may_end.pass();
              return Result<Answer>(Answer{.body = "waited"});
            }};
  }
  /// Reads until the desk gives it up.
  static Work endless(std::string key, Gate& started) {
    return {.pace = Pace::slow, .key = std::move(key), .work = [&](const schema::Store& store) {
              started.open();
              while (store.each_cell({}, [](const schema::Cell&) { return true; })) {
              }
              return Result<Answer>(fail(Errc::io, "given up"));
            }};
  }
  static std::future<Given> ask_later(Desk& desk, Work work, std::string client = {}) {
    auto promise = std::make_shared<std::promise<Given>>();
    desk.ask(
        std::move(work), [promise](Given given) { promise->set_value(std::move(given)); },
        std::move(client));
    return promise->get_future();
  }
  static Given ask(Desk& desk, Work work) { return ask_later(desk, std::move(work)).get(); }
  static std::string text(const Given& given) { return given.answer->answer.body; }
  void record_more() {
    auto store = must(schema::Store::open(file_, schema::Store::Access::record));
    must(store.commit(sample_batch(must(store.feed_id("roof")), 3, 2, sample_start_s + 9000, 1)));
  }
  void note_something() {
    auto store = must(schema::Store::open(file_, schema::Store::Access::write));
    must(store.add_note({.id = 0, .time_s = sample_start_s, .trial = {}, .text = "in the rain"}));
  }

  TemporaryFolder folder_;
  std::filesystem::path file_;
  std::atomic<int> n_worked_ = 0;
};

TEST_F(DeskTest, WorksOutOnceWhileTheDataIsTheSame) {
  Desk desk(options(1h));
  for (const Pace pace : {Pace::quick, Pace::drawn, Pace::slow}) {
    const std::string key = "/" + std::to_string(static_cast<int>(pace));
    const auto first = ask(desk, counting(key, pace));
    EXPECT_EQ(ask(desk, counting(key, pace)).answer, first.answer);
    EXPECT_FALSE(first.age);
  }
  EXPECT_EQ(n_worked_, 3);
  record_more();
  const auto newer = ask(desk, counting("/0"));
  EXPECT_EQ(text(newer), "4");
  EXPECT_FALSE(newer.age) << "what is quick is new";
}

TEST_F(DeskTest, GivesWhatTookLongWithItsAgeAndWorksItOutMeanwhile) {
  Desk desk(options());
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  record_more();
  const auto older = ask(desk, counting("/a"));
  EXPECT_EQ(text(older), "1");
  EXPECT_TRUE(older.age);
  // Nobody waits for it, so it may take its time.
  auto newer = ask(desk, counting("/a"));
  for (; text(newer) == "1"; newer = ask(desk, counting("/a"))) std::this_thread::sleep_for(1ms);
  EXPECT_EQ(text(newer), "2");
  EXPECT_FALSE(newer.age);
  EXPECT_EQ(n_worked_, 2);
}

TEST_F(DeskTest, WhoDemandsANewAnswerWaitsForIt) {
  Desk desk(options());
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  record_more();
  Work demanding = counting("/a");
  demanding.must_be_new = true;
  const auto newer = ask(desk, std::move(demanding));
  EXPECT_EQ(text(newer), "2");
  EXPECT_FALSE(newer.age);
  EXPECT_EQ(text(ask(desk, counting("/a"))), "2") << "others have it, too";
}

TEST_F(DeskTest, ATrialsChangeIsInTheNextAnswer) {
  Desk desk(options());
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  note_something();
  const auto newer = ask(desk, counting("/a"));
  EXPECT_EQ(text(newer), "2");
  EXPECT_FALSE(newer.age);
}

// A verdict of a year took two seconds, and every answer known before waited behind it.
TEST_F(DeskTest, WhatIsKnownDoesNotWaitForWhatIsBeingWorkedOut) {
  Gate started, may_end;
  Desk desk(options(1h));
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  auto waited_for = ask_later(desk, waiting("/b", started, may_end));
  started.pass();
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  EXPECT_EQ(text(ask(desk, counting("/quick", Pace::quick))), "2");
  EXPECT_EQ(text(ask(desk, counting("/drawn", Pace::drawn))), "3");
  may_end.open();
  EXPECT_EQ(text(waited_for.get()), "waited");
}

// Under fifty clients that asked for one verdict, which was known, a third and more were refused.
TEST_F(DeskTest, ThoseWhoAskTheSameTakeOnePlace) {
  Gate started, may_end;
  Desk desk(options(1h));
  std::vector<std::future<Given>> answers;
  answers.push_back(ask_later(desk, waiting("/a", started, may_end)));
  started.pass();
  for (int i = 0; i < 49; ++i) answers.push_back(ask_later(desk, counting("/a")));
  for (const char* key : {"/b", "/c", "/d", "/e"})
    answers.push_back(ask_later(desk, counting(key)));
  EXPECT_EQ(ask(desk, counting("/f")).answer, nullptr) << "four places are taken";
  may_end.open();
  for (auto& answer : answers) EXPECT_EQ(answer.get().answer->answer.status, 200);
  EXPECT_EQ(n_worked_, 4);
  EXPECT_EQ(text(ask(desk, counting("/f"))), "5") << "there is room again";
}

// 33 connections that had asked for verdicts and were closed kept all others waiting for 19 s.
TEST_F(DeskTest, WhatNobodyWaitsForIsNotBegun) {
  Gate started, may_end;
  Desk desk(options(1h));
  const auto nobody = [](const Given&) {};
  auto first = ask_later(desk, waiting("/a", started, may_end));
  started.pass();
  std::vector<Desk::Ticket> tickets;
  for (const char* key : {"/b", "/c", "/d"}) tickets.push_back(desk.ask(counting(key), nobody));
  auto second = ask_later(desk, counting("/d"));
  ask(desk, counting("/quick", Pace::quick));  // shows that those before have been heard
  for (const auto& ticket : tickets) desk.leave(ticket);
  may_end.open();
  EXPECT_EQ(text(first.get()), "waited");
  EXPECT_EQ(text(second.get()), "2") << "somebody else still waits for /d";
  EXPECT_EQ(n_worked_, 2);
}

TEST_F(DeskTest, WhatRunsIsGivenUpWhenTheLastWhoWaitsLeaves) {
  Gate started;
  Desk desk(options(1h));
  const auto ticket = desk.ask(endless("/a", started), [](const Given&) {});
  started.pass();
  desk.leave(ticket);
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1") << "begun anew for whoever comes then";
}

TEST_F(DeskTest, WhoLeavesAsSoonAsHeAskedCostsNothing) {
  Gate started;
  Desk desk(options(1h));
  for (int i = 0; i < 100; ++i) desk.leave(desk.ask(counting("/a"), [](const Given&) {}));
  EXPECT_EQ(ask(desk, counting("/b")).answer->answer.status, 200);
}

TEST_F(DeskTest, OneClientDoesNotTakeAllPlaces) {
  Gate started, may_end;
  Desk desk(options(1h));
  auto running = ask_later(desk, waiting("/a", started, may_end), "greedy");
  started.pass();
  std::vector<std::future<Given>> greedy;
  for (const char* key : {"/b", "/c", "/d", "/e"})
    greedy.push_back(ask_later(desk, counting(key), "greedy"));
  auto modest = ask_later(desk, counting("/f"), "modest");
  EXPECT_EQ(greedy.back().get().answer, nullptr) << "its last made room";
  may_end.open();
  EXPECT_EQ(text(modest.get()), "1") << "and comes first: the other has had a turn";
  EXPECT_EQ(text(greedy.front().get()), "2");
}

TEST_F(DeskTest, WhoJoinsIsToldTheAgeOfWhatBeganBeforeACommit) {
  Gate started, may_end;
  // Whatever is asked at the same desk later shows that those before have been heard.
  const auto heard = Work{.pace = Pace::quick, .work = [](const auto&) { return Answer{}; }};
  Desk desk(options(1h));
  auto first = ask_later(desk, waiting("/a", started, may_end));
  started.pass();
  record_more();
  auto second = ask_later(desk, counting("/a"));
  ask(desk, heard);
  note_something();
  auto third = ask_later(desk, counting("/a"));
  ask(desk, counting("/quick", Pace::quick));
  may_end.open();
  EXPECT_FALSE(first.get().age);
  const Given joined = second.get();
  EXPECT_EQ(text(joined), "waited");
  EXPECT_TRUE(joined.age);
  EXPECT_EQ(text(third.get()), "2") << "another trial may make another answer";
}

TEST_F(DeskTest, ErrorsAreNotKept) {
  Desk desk(options());
  bool is_failing = true;
  const auto work = [&] {
    return Work{.pace = Pace::slow, .key = "/a", .work = [&](const auto&) -> Result<Answer> {
                  if (is_failing) return fail(Errc::busy, "locked");
                  return Answer{};
                }};
  };
  EXPECT_EQ(ask(desk, work()).answer->answer.status, 503);
  is_failing = false;
  EXPECT_EQ(ask(desk, work()).answer->answer.status, 200);
}

TEST_F(DeskTest, ChangesAreMadeEachTime) {
  Desk desk(options());
  const auto change = [&] {
    return Work{.change = [&](schema::Store& store) -> Result<Answer> {
      return store.add_note({.id = 0, .time_s = sample_start_s, .trial = {}, .text = "in the rain"})
          .map([](schema::Id id) { return Answer{.status = 201, .body = std::to_string(id)}; });
    }};
  };
  const std::string first = text(ask(desk, change()));
  EXPECT_NE(text(ask(desk, change())), first);
}

/// Has the desk look all the time, and counts what was usual.
class UsualTest : public DeskTest {
 protected:
  Desk::Options looking(std::chrono::minutes renew = 0min) {
    auto out = options();
    out.first_look = out.between_looks = 1ms;
    out.renew = renew;
    out.usual = [this](const schema::Store&) {
      const std::lock_guard lock(mutex_);
      ++n_looks_;
      has_looked_.notify_all();
      return std::vector<Work>{counting("/usual")};
    };
    return out;
  }
  void await_looks(int n) {
    std::unique_lock lock(mutex_);
    has_looked_.wait(lock, [&, before = n_looks_] { return n_looks_ >= before + n; });
  }
  void await_worked(int n) {
    while (n_worked_ < n) await_looks(1);
  }

  std::mutex mutex_;
  std::condition_variable has_looked_;
  int n_looks_ = 0;
};

TEST_F(UsualTest, IsWorkedOutBeforeAnybodyAsks) {
  Desk desk(looking());
  await_worked(1);
  await_looks(3);
  EXPECT_EQ(text(ask(desk, counting("/usual"))), "1");
  EXPECT_EQ(n_worked_, 1) << "nothing was written, so it stays right";
  record_more();
  await_worked(2);
}

TEST_F(UsualTest, IsWorkedOutOnceInAWhile) {
  Desk desk(looking(60min));
  await_worked(1);
  record_more();
  await_looks(5);
  EXPECT_EQ(n_worked_, 1);
  note_something();
  await_worked(2);
}

TEST_F(UsualTest, IncludesWhatWasAskedForLast) {
  Desk desk(looking());
  ask(desk, counting("/another"));
  await_worked(2);
  record_more();
  await_worked(4);
}

TEST_F(UsualTest, MayBeSeveralAnswersAtOnce) {
  auto with = looking(60min);
  with.usual = [this](const schema::Store&) {
    return std::vector<Work>{
        {.pace = Pace::slow, .key = "/all", .may_age = true, .many = [this](const schema::Store&) {
           const std::string number = std::to_string(++n_worked_);
           return Result<std::vector<KeyedAnswer>>(
               {{"/a", {.body = "a" + number}}, {"/b", {.body = "b" + number}}});
         }}};
  };
  Desk desk(std::move(with));
  // Works out nothing that would be kept instead.
  const auto ask_for = [&](std::string key) {
    return ask(desk, {.pace = Pace::slow, .key = std::move(key), .work = [](const auto&) {
                        return Result<Answer>(fail(Errc::busy, "not kept"));
                      }});
  };
  while (ask_for("/a").answer->answer.status != 200) std::this_thread::sleep_for(1ms);
  EXPECT_EQ(text(ask_for("/a")), "a1");
  EXPECT_EQ(text(ask_for("/b")), "b1");
  record_more();
  const auto older = ask_for("/b");
  EXPECT_EQ(text(older), "b1");
  EXPECT_TRUE(older.age);
  while (ask_for("/a").age) std::this_thread::sleep_for(1ms);
  EXPECT_EQ(text(ask_for("/a")), "a2") << "all are worked out anew";
  EXPECT_EQ(text(ask_for("/b")), "b2");
}

// At the lowest priority such work held what visitors waited for, and got no time on a busy
// machine.
TEST_F(UsualTest, GivesWayToWhoeverComesAndIsDoneLater) {
  Gate started;
  std::atomic<bool> is_first = true;
  auto with = looking(60min);
  with.usual = [&](const schema::Store&) {
    const std::lock_guard lock(mutex_);
    ++n_looks_;
    has_looked_.notify_all();
    const auto work = endless("/usual", started).work;
    return std::vector<Work>{
        {.pace = Pace::slow, .key = "/usual", .work = [&, work](const schema::Store& store) {
           if (is_first.exchange(false)) return work(store);
           return counting("/usual").work(store);
         }}};
  };
  Desk desk(std::move(with));
  started.pass();
  EXPECT_EQ(text(ask(desk, counting("/a"))), "1");
  await_worked(2);
}

TEST_F(UsualTest, IsLeftWhereNobodyHasComeForLong) {
  auto with = looking();
  with.visited = 0h;
  Desk desk(std::move(with));
  std::this_thread::sleep_for(20ms);
  EXPECT_EQ(n_worked_, 0);
}

TEST_F(UsualTest, ThatFailsIsNotTriedAtEveryLook) {
  std::atomic<int> n_tried = 0;
  auto with = looking(60min);
  with.usual = [&](const schema::Store&) {
    const std::lock_guard lock(mutex_);
    ++n_looks_;
    has_looked_.notify_all();
    return std::vector<Work>{
        {.pace = Pace::slow, .key = "/usual", .work = [&](const auto&) -> Result<Answer> {
           ++n_tried;
           return fail(Errc::too_little, "no cells");
         }}};
  };
  Desk desk(std::move(with));
  while (n_tried == 0) await_looks(1);
  await_looks(5);
  EXPECT_EQ(n_tried, 1);
}

}  // namespace
}  // namespace roundel::serve
