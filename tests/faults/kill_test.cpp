// kill -9 at a random moment under load, again and again on one database.
#include <gtest/gtest.h>
#include <signal.h>

#include <algorithm>
#include <random>

#include "tests/faults/recorded.h"

namespace roundel::faults {
namespace {

class Kill : public Recorded {};

TEST_F(Kill, AtRandomMomentsUnderLoadLosesNoMoreThanTheWriteInterval) {
  const int rounds = is_full() ? 30 : 2;
  Source source;
  configure(connect(source));
  Traffic traffic(40);
  std::mt19937 random(20261125);
  std::int64_t sent = 0, stored = 0, most_lost = 0;
  for (int round = 0; round < rounds; ++round) {
    Daemon daemon(config());
    std::atomic<std::int64_t> sent_now = 0;
    std::thread sender([&] {
      // Ten minutes of traffic at once, until the kill ends it.
      for (std::string chunk = traffic.next(10); source.send(chunk); chunk = traffic.next(10))
        sent_now += n_lines(chunk);
    });
    EXPECT_TRUE(eventually([&] { return daemon.received("roof") > 0; }));
    std::this_thread::sleep_for(std::chrono::milliseconds(random() % 900));
    const std::int64_t acknowledged = received();
    std::this_thread::sleep_for(std::chrono::milliseconds(random() % 200));
    daemon.process().signal(SIGKILL);
    EXPECT_EQ(daemon.process().wait(), 128 + SIGKILL);
    sender.join();
    source.hang_up();
    const std::int64_t now = received();
    EXPECT_GE(now, acknowledged) << "round " << round;
    // The chunk that the kill cut may have been taken in part.
    EXPECT_LE(now - stored, sent_now + 10 * 80) << "round " << round;
    EXPECT_EQ(unaccounted(status()["reports"]), 0) << "round " << round;
    EXPECT_EQ(integrity(database()), "ok") << "round " << round;
    most_lost = std::max(most_lost, sent_now - (now - stored));
    sent += sent_now;
    stored = now;
  }
  Daemon last(config());
  EXPECT_TRUE(source.send(traffic.next(60)));
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return last.has_read_to_the_end("roof"); }));
  EXPECT_EQ(last.stop(), 0) << last.process().log();
  expect_whole();
  EXPECT_EQ(received(), stored + 60 * 80);
  measured("{} kills: {} lines sent, {} recorded, at most {} lost by one kill", rounds, sent,
           stored, most_lost);
}

}  // namespace
}  // namespace roundel::faults
