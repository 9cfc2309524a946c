// Peers that misbehave, by intent or by a bad cable.
#include <gtest/gtest.h>

#include <random>
#include <sstream>

#include "tests/faults/recorded.h"
#include "tests/serve/client.h"

namespace roundel::faults {
namespace {

using serve::Client;

class Peers : public Recorded {
 protected:
  std::int64_t rejected(const char* reason) const {
    return status()["reports"]["rejected"].value(reason, std::int64_t{0});
  }
  Traffic traffic_{40};
};

std::int64_t n_open_files(const Process& process) {
  std::int64_t n = 0;
  for ([[maybe_unused]] const auto& entry :
       std::filesystem::directory_iterator(fmt::format("/proc/{}/fd", process.id())))
    ++n;
  return n;
}

/// Sent to this port and not read yet, by the kernel's table of connections (proc(5),
/// /proc/net/tcp).
std::int64_t n_unread(int port) {
  std::int64_t n = 0;
  std::istringstream table(read_file("/proc/net/tcp"));
  std::string line, number, local, remote, state, queues;
  std::getline(table, line);
  while (std::getline(table, line)) {
    std::istringstream(line) >> number >> local >> remote >> state >> queues;
    const auto hex = [](const std::string& text) { return std::stoll(text, nullptr, 16); };
    if (state != "01") continue;
    if (hex(local.substr(local.find(':') + 1)) == port)
      n += hex(queues.substr(queues.find(':') + 1));
    if (hex(remote.substr(remote.find(':') + 1)) == port) n += hex(queues.substr(0, 8));
  }
  return n;
}

TEST_F(Peers, AnEndlessLineCostsOneLineAndNoMemory) {
  configure(listen);
  Daemon daemon(config());
  Client peer(daemon.feed_port("roof"));
  EXPECT_TRUE(peer.send(traffic_.next(1)));
  EXPECT_TRUE(eventually([&] { return daemon.received("roof") > 0; }));
  const double before_kb = memory_kb(daemon.process(), "VmRSS");
  const std::string block(1 << 20, 'x');
  for (int i = 0; i < 64; ++i) ASSERT_TRUE(peer.send(block));
  EXPECT_TRUE(peer.send("\n" + traffic_.next(1)));
  peer.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof"); }));
  const double after_kb = memory_kb(daemon.process(), "VmRSS");
  EXPECT_LT(after_kb, before_kb + 4096) << "64 MB without a line's end";
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(rejected("too_long"), 1);
  EXPECT_EQ(received(), 2 * 80 + 1);
  expect_whole();
}

TEST_F(Peers, BinaryAndTlsAreCountedLineByLine) {
  configure(listen);
  Daemon daemon(config());
  std::mt19937 random(5);
  std::string noise(1 << 20, '\0');
  for (char& byte : noise) byte = static_cast<char>(random());
  // The head of a TLS 1.2 client hello (RFC 5246, 7.4.1.2), and what a browser would ask.
  const std::string hello("\x16\x03\x01\x00\xf4\x01\x00\x00\xf0\x03\x03", 11);
  for (const std::string& what : {noise, hello, std::string("GET / HTTP/1.1\r\nHost: a\r\n\r\n")}) {
    Client peer(daemon.feed_port("roof"));
    EXPECT_TRUE(peer.send(what));
    peer.finish_sending();
  }
  Client peer(daemon.feed_port("roof"));
  EXPECT_TRUE(peer.send(traffic_.next(10)));
  peer.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof", 4); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["stored"], 10 * 80);
  EXPECT_GT(rejected("malformed"), 3000) << "one of 256 bytes ends a line";
  expect_whole();
}

TEST_F(Peers, AHalfOpenConnectionIsGivenUpAndTheNextIsServed) {
  configure(listen, 0.5, "", "stall_s = 1\nmax_connections = 1\n");
  Daemon daemon(config());
  // Its cable is pulled: nothing more comes, nor an end.
  Client silent(daemon.feed_port("roof"));
  EXPECT_TRUE(silent.send("{\"time\":1772"));
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("silent for 1 s"); }));
  Client next(daemon.feed_port("roof"));
  EXPECT_TRUE(next.send(traffic_.next(10)));
  next.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.received("roof") >= 10 * 80 - 200; }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["stored"], 10 * 80);
  expect_whole();
}

TEST_F(Peers, AStormOfConnectionsLeavesNothingBehind) {
  configure(listen);
  Daemon daemon(config());
  const std::int64_t files = n_open_files(daemon.process());
  const int storm = is_full() ? 5000 : 300;
  for (int i = 0; i < storm; ++i) {
    Client peer(daemon.feed_port("roof"));
    if (i % 3 == 0) peer.send("{\"time\":");
  }
  Client peer(daemon.feed_port("roof"));
  EXPECT_TRUE(peer.send(traffic_.next(10)));
  peer.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.received("roof") >= 10 * 80; }));
  EXPECT_TRUE(eventually([&] { return n_open_files(daemon.process()) <= files + 2; }));
  const std::int64_t files_after = n_open_files(daemon.process());
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["stored"], 10 * 80);
  const std::int64_t logged = n_lines(daemon.process().log());
  EXPECT_LT(logged, 200) << "a line a connection would fill the journal";
  measured("{} connections made and dropped: {} log lines, {} files open before, {} after", storm,
           logged, files, files_after);
  expect_whole();
}

// As when a receiver sends to two addresses that are one computer: each line counts once.
TEST_F(Peers, TwoClientsOnOnePortAreOneFeed) {
  configure(listen);
  Daemon daemon(config());
  const int port = daemon.feed_port("roof");
  Client one(port), other(port);
  for (int second = 0; second < 40; ++second) {
    EXPECT_TRUE((second % 2 == 0 ? one : other).send(traffic_.next(1)));
    EXPECT_TRUE(eventually([&] { return n_unread(port) == 0; }));
  }
  one.finish_sending();
  other.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof", 2); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["stored"], 40 * 80);
  expect_whole();
}

TEST_F(Peers, TheSameTrafficFromTwoClientsCountsOnce) {
  configure(listen);
  Daemon daemon(config());
  const int port = daemon.feed_port("roof");
  Client one(port), other(port);
  for (int report = 0; report < 60; ++report) {  // of each aircraft
    const std::string text = traffic_.next(0.5);
    for (Client* const peer : {&one, &other}) {
      EXPECT_TRUE(peer->send(text));
      EXPECT_TRUE(eventually([&] { return n_unread(port) == 0; }));
    }
  }
  one.finish_sending();
  other.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof", 2); }));
  EXPECT_EQ(daemon.stop(), 0);
  const Json reports = status()["reports"];
  EXPECT_EQ(reports["received"], 2 * 30 * 80);
  EXPECT_LE(reports["stored"], 30 * 80);
  EXPECT_GE(reports["stored"], 29 * 80);
  expect_whole();
}

TEST_F(Peers, TheBacklogOfAnHourIsTakenInSeconds) {
  Source source;
  configure(connect(source), 5);
  Daemon daemon(config());
  const std::string hour = traffic_.next(is_full() ? 3600 : 600);
  const auto begun = Clock::now();
  EXPECT_TRUE(source.send(hour));
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof"); }));
  EXPECT_EQ(daemon.stop(), 0);
  const double took_s = std::chrono::duration<double>(Clock::now() - begun).count();
  EXPECT_EQ(status()["reports"]["stored"], n_lines(hour));
  measured("backlog of {} lines: recorded in {:.1f} s", n_lines(hour), took_s);
  expect_whole();
}

}  // namespace
}  // namespace roundel::faults
