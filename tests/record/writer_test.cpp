// The queue before the one thread that records: what is offered is stored once, or left.
#include "daemon/record/writer.h"

#include <gtest/gtest.h>

#include <atomic>
#include <future>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "roundel/schema/store.h"
#include "tests/record/roof_feed.h"
#include "tests/record/scene.h"
#include "tests/schema/store_fixture.h"

namespace roundel::record {
namespace {

using namespace std::chrono_literals;

// Looks until it is so. A writer that never comes to it fails the test by ctest's time limit only.
void await(const std::function<bool()>& is_so) {
  while (!is_so()) std::this_thread::sleep_for(2ms);
}

// Keeps others from writing until the connection that says it is closed.
constexpr const char* hold = "BEGIN IMMEDIATE";

class WriterTest : public testing::Test {
 protected:
  WriterTest() {
    options_.on_end = [this](Result<void> end) { end_.set_value(std::move(end)); };
    options_.log = [](Level, std::string_view) {};
    options_.retry = 5ms;
    options_.poll = 10ms;
  }

  void start() {
    Recording::Options recording_options;
    recording_options.store = file();
    recording_options.log = options_.log;
    recording_options.site = {"Hill house", 52.1, 19.4, 14, 8, 14};
    auto recording = Recording::open(std::move(recording_options));
    ASSERT_TRUE(recording) << recording.error().line();
    ASSERT_TRUE(recording->add_feed(roof_feed()));
    writer_.emplace(std::move(*recording), options_);
  }
  std::filesystem::path file() const { return folder_ / "roundel.db"; }

  /// The next n reports of one aircraft, half a second apart.
  feed::Intake reports(int n) {
    feed::Intake intake;
    for (int i = 0; i < n; ++i, ++n_made_) {
      const feed::Report report = plane_.at(t0_s + n_made_ * 0.5);
      intake.reports.push_back({report, *report.time_s});
    }
    return intake;
  }
  Result<void> end() {
    writer_->stop();
    return end_.get_future().get();
  }
  schema::Tally stored() const {
    const auto store = schema::Store::open(file(), schema::Store::Access::read);
    EXPECT_TRUE(store) << store.error().line();
    return *store->tally(std::nullopt);
  }

  schema::Folder folder_;
  Writer::Options options_;
  std::promise<Result<void>> end_;
  std::optional<Writer> writer_;
  Plane plane_;
  int n_made_ = 0;
};

TEST_F(WriterTest, StoresOnStopWhatWasOffered) {
  start();
  for (int i = 0; i < 7; ++i) {
    auto intake = reports(100);
    ASSERT_TRUE(writer_->offer("roof", intake));
    EXPECT_TRUE(intake.empty()) << "what is taken is gone from the reader's hands";
  }
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 700);
  EXPECT_EQ(stored().at("stored"), 700);
}

TEST_F(WriterTest, CommitsWithoutBeingStopped) {
  options_.write_s = 0.05;
  start();
  auto intake = reports(100);
  ASSERT_TRUE(writer_->offer("roof", intake));
  await([&] {
    const auto tally = stored();
    const auto it = tally.find("received");
    return it != tally.end() && it->second == 100;
  });
  EXPECT_TRUE(end());
}

TEST_F(WriterTest, RefusesWhatTheQueueCannotHoldAndTellsWhenItCan) {
  std::atomic<int> n_room = 0;
  options_.queue_reports = 150;
  options_.on_room = [&] { ++n_room; };
  start();
  std::promise<void> let_go;
  // The thread is kept busy, so that the queue fills.
  writer_->post([gate = let_go.get_future().share()](Recording&) -> Result<void> {
    gate.wait();
    return {};
  });
  auto first = reports(100), second = reports(100);
  ASSERT_TRUE(writer_->offer("roof", first));
  EXPECT_FALSE(writer_->offer("roof", second));
  EXPECT_EQ(second.n_lines(), 100u) << "what is refused stays with the reader";
  EXPECT_EQ(writer_->status().queued.at("roof"), 100u);
  EXPECT_EQ(n_room, 0);
  let_go.set_value();
  await([&] { return n_room > 0; });
  await([&] { return writer_->offer("roof", second); });
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 200);
}

// A peer that came and went while the database was held filled memory.
TEST_F(WriterTest, RefusesWhatHoldsNoLineWhenTheQueueIsFull) {
  options_.queue_reports = 3;
  start();
  std::promise<void> let_go;
  writer_->post([gate = let_go.get_future().share()](Recording&) -> Result<void> {
    gate.wait();
    return {};
  });
  feed::Intake lost;
  lost.interrupted = true;
  for (int i = 0; i < 3; ++i) {
    feed::Intake one = lost;
    EXPECT_TRUE(writer_->offer("roof", one));
  }
  EXPECT_FALSE(writer_->offer("roof", lost));
  EXPECT_TRUE(lost.interrupted) << "what is refused stays with the reader";
  let_go.set_value();
  EXPECT_TRUE(end());
}

TEST_F(WriterTest, TakesMoreThanTheQueueHoldsWhenItComesAlone) {
  options_.queue_reports = 10;
  start();
  auto intake = reports(100);
  EXPECT_TRUE(writer_->offer("roof", intake));
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 100);
}

TEST_F(WriterTest, DoesTasksAfterWhatWasOfferedBefore) {
  start();
  auto intake = reports(300);
  ASSERT_TRUE(writer_->offer("roof", intake));
  std::promise<std::int64_t> seen;
  writer_->post([&](Recording& recording) -> Result<void> {
    seen.set_value(recording.counts().at(0).live.received);
    return {};
  });
  EXPECT_EQ(seen.get_future().get(), 300);
  EXPECT_TRUE(end());
}

TEST_F(WriterTest, KeepsEverythingWhileAnotherProgramHoldsTheDatabase) {
  options_.write_s = 0.01;
  start();
  std::optional<schema::Client> holder(file());
  holder->rows(hold);
  auto intake = reports(500);
  ASSERT_TRUE(writer_->offer("roof", intake));
  await([&] { return writer_->status().store_state != "ok"; });
  EXPECT_NE(writer_->status().store_state.find("roundel.db"), std::string::npos)
      << writer_->status().store_state;
  auto more = reports(200);
  EXPECT_TRUE(writer_->offer("roof", more)) << "the queue has room";
  holder.reset();
  await([&] { return writer_->status().store_state == "ok"; });
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 700);
  EXPECT_EQ(stored().at("stored"), 700);
}

TEST_F(WriterTest, SaysWhatIsLostWhenItMustEndWhileTheDatabaseIsHeld) {
  options_.write_s = 3600;
  options_.give_up = 50ms;
  start();
  schema::Client holder(file());
  holder.rows(hold);
  auto intake = reports(100);
  ASSERT_TRUE(writer_->offer("roof", intake));
  const auto ended = end();
  ASSERT_FALSE(ended);
  EXPECT_EQ(ended.error().code, Errc::busy);
  EXPECT_NE(ended.error().what.find("since the last commit is lost"), std::string::npos)
      << ended.error().what;
}

TEST_F(WriterTest, GoesOnWithoutARowThatTheDatabaseRefusesAndSaysSo) {
  options_.write_s = 0.01;
  start();
  schema::Client(file()).rows(
      "CREATE TRIGGER refuse BEFORE INSERT ON recent_cell WHEN NEW.altitude_25ft > 1440"
      " BEGIN SELECT raise(ABORT, 'not this one'); END");
  auto good = reports(100);
  ASSERT_TRUE(writer_->offer("roof", good));
  plane_.altitude_ft += 25;
  plane_.address += 1;
  auto bad = reports(20);
  ASSERT_TRUE(writer_->offer("roof", bad));
  await([&] { return writer_->status().store_state != "ok"; });
  EXPECT_EQ(
      writer_->status().store_state,
      "it has refused rows, 1 so far: a value is outside what the table accepts (not this one)");
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 120);
  EXPECT_EQ(stored().at("stored"), 100);
  EXPECT_EQ(stored().at("refused"), 20);
  EXPECT_EQ(writer_->status().feeds.at(0).live.stored, 100);
  EXPECT_EQ(writer_->status().feeds.at(0).rejects.at("refused"), 20);
}

TEST_F(WriterTest, SaysForAWhileThatRowsWereRefused) {
  options_.write_s = 0.01;
  options_.tell_refused = 0ms;
  std::atomic<int> n_told = 0;
  options_.log = [&](Level level, std::string_view text) {
    if (level == Level::error && text.find("not this one") != text.npos) ++n_told;
  };
  start();
  schema::Client(file()).rows(
      "CREATE TRIGGER refuse BEFORE INSERT ON recent_cell"
      " BEGIN SELECT raise(ABORT, 'not this one'); END");
  auto intake = reports(20);
  ASSERT_TRUE(writer_->offer("roof", intake));
  await([&] { return n_told > 0; });
  await([&] { return writer_->status().store_state == "ok"; });
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("refused"), 20);
}

TEST_F(WriterTest, CountsAsStoredWhatHasBeenCommitted) {
  options_.write_s = 3600;
  start();
  auto intake = reports(100);
  ASSERT_TRUE(writer_->offer("roof", intake));
  await([&] { return writer_->status().feeds.at(0).live.received == 100; });
  EXPECT_EQ(writer_->status().feeds.at(0).live.stored, 0);
  EXPECT_TRUE(end());
  EXPECT_EQ(writer_->status().feeds.at(0).live.stored, 100);
}

TEST_F(WriterTest, CountsLinesThatWereNoReports) {
  start();
  auto intake = reports(10);
  intake.reject(feed::Reject::not_position, 4);
  EXPECT_EQ(intake.n_lines(), 14u);
  ASSERT_TRUE(writer_->offer("roof", intake));
  EXPECT_TRUE(end());
  EXPECT_EQ(stored().at("received"), 14);
  EXPECT_EQ(stored().at("not_position"), 4);
}

}  // namespace
}  // namespace roundel::record
