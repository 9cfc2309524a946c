// What others may do to the database while it is recorded into.
#include <gtest/gtest.h>

#include "tests/faults/recorded.h"

namespace roundel::faults {
namespace {

class UnderIt : public Recorded {
 protected:
  Source source_;
  Traffic traffic_{40};
};

TEST_F(UnderIt, ADatabaseThatIsDeletedEndsTheRunAndTheNextBeginsAnother) {
  configure(connect(source_));
  Daemon daemon(config());
  EXPECT_TRUE(source_.send(traffic_.next(60)));
  EXPECT_TRUE(eventually([&] { return received() > 0; }));
  std::filesystem::remove(database());
  EXPECT_TRUE(source_.send(traffic_.next(60)));
  EXPECT_EQ(daemon.process().wait(), 1) << "the service manager starts it anew";
  EXPECT_TRUE(daemon.has_logged("was moved or deleted while it was recorded into"))
      << daemon.process().log();
  source_.hang_up();
  Daemon next(config());
  EXPECT_TRUE(source_.send(traffic_.next(60)));
  source_.hang_up();
  EXPECT_TRUE(eventually([&] { return next.has_read_to_the_end("roof"); }));
  EXPECT_EQ(next.stop(), 0) << next.process().log();
  EXPECT_EQ(received(), 60 * 80);
  expect_whole();
}

// SQLite waits ten seconds for a lock before it says busy.
TEST_F(UnderIt, ALockedDatabaseIsWaitedFor) {
  if (!is_full()) GTEST_SKIP() << "takes 15 s: tests/faults/run";
  configure(connect(source_));
  Daemon daemon(config());
  EXPECT_TRUE(source_.send(traffic_.next(60)));
  EXPECT_TRUE(eventually([&] { return received() > 0; }));
  {
    const WriteLock lock(database());
    EXPECT_TRUE(source_.send(traffic_.next(60)));
    EXPECT_TRUE(eventually([&] { return daemon.has_logged("recording waits"); }));
    EXPECT_EQ(get(daemon.page_port(), "/health").status, 503);
  }
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("recording goes on"); }));
  source_.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof"); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(received(), 120 * 80);
  expect_whole();
}

}  // namespace
}  // namespace roundel::faults
