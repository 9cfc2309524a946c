// The network side of a feed, against real sockets on the loopback.
#include "daemon/feed/connection.h"

#include <gmock/gmock.h>

#include <utility>
// (before Asio's coroutines, which need std::exchange in Boost 1.74)
#include <boost/asio.hpp>
#include <functional>
#include <map>
#include <system_error>
#include <thread>

#include "daemon/feed/backoff.h"
#include "daemon/feed/lookup.h"

namespace roundel::feed {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using serve::FeedState;
using testing::ElementsAre;
using testing::HasSubstr;

std::string line(int number) {
  return R"({"time":)" + std::to_string(1764000000 + number) +
         R"(,"address":"4b1617","latitude":52.3,"longitude":19.8,"altitude_ft":36000})"
         "\n";
}

// A recorder's place: keeps what it is given, or says that there is no room.
struct Taker {
  bool has_room = true;
  std::vector<Arrival> reports;
  std::map<Reject, int> rejects;
  int n_breaks = 0;
  int n_refused = 0;
  bool throws = false;

  void take(Intake&& intake) {
    n_breaks += intake.interrupted;
    reports.insert(reports.end(), intake.reports.begin(), intake.reports.end());
    for (std::size_t i = 0; i < intake.n_rejected.size(); ++i)
      if (intake.n_rejected[i] > 0) rejects[static_cast<Reject>(i)] += intake.n_rejected[i];
    intake = Intake{};
  }
};

class ConnectionTest : public testing::Test {
 protected:
  asio::io_context io;
  Taker taker;
  std::vector<FeedState> states;
  double backoff_scale = 0.01;
  std::vector<std::string> lines;
  config::Feed feed;
  std::optional<Connection> connection;

  ConnectionTest() {
    feed.name = "roof";
    feed.stall_s = 60;
  }
  ~ConnectionTest() override { stop(); }

  Result<void> start() {
    Connection::Hooks hooks;
    hooks.offer = [this](Intake& intake) {
      if (taker.throws) throw std::runtime_error("no luck");
      if (!taker.has_room) return ++taker.n_refused, false;
      taker.take(std::move(intake));
      return true;
    };
    hooks.offer_last = [this](Intake&& intake) { taker.take(std::move(intake)); };
    hooks.state = [this](FeedState state) { states.push_back(state); };
    hooks.log = [this](Level, std::string_view text) { lines.emplace_back(text); };
    connection.emplace(io, feed, hooks,
                       Timing{.connect = std::chrono::seconds(10),
                              .accept_failed = {},
                              .backoff_scale = backoff_scale});
    return connection->start();
  }
  void stop() {
    if (!connection) return;
    connection->stop();
    io.restart();
    io.run();  // must run dry
  }
  // The limit is only for a test that fails.
  template <class Condition>
  [[nodiscard]] bool comes_true(Condition condition) {
    const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(30);
    while (!condition()) {
      if (std::chrono::steady_clock::now() > limit) return false;
      io.restart();
      io.run_one_for(std::chrono::milliseconds(20));
    }
    return true;
  }
  tcp::acceptor peer_listens() {
    tcp::acceptor acceptor(io, tcp::endpoint(asio::ip::address_v4::loopback(), 0));
    feed.connect = config::Endpoint{"127.0.0.1", acceptor.local_endpoint().port()};
    return acceptor;
  }
  // The connection that comes, or will come; closed if none does.
  tcp::socket accepted(tcp::acceptor& acceptor) {
    tcp::socket socket(io);
    acceptor.non_blocking(true);
    EXPECT_TRUE(comes_true([&] {
      error_code error;
      acceptor.accept(socket, error);
      return !error;
    }));
    return socket;
  }
  tcp::socket client() {
    tcp::socket socket(io);
    socket.connect(tcp::endpoint(asio::ip::address_v4::loopback(),
                                 static_cast<unsigned short>(connection->listening()->port)));
    return socket;
  }
  static void send(tcp::socket& socket, std::string_view text) {
    asio::write(socket, asio::buffer(text.data(), text.size()));
  }
};

TEST_F(ConnectionTest, EveryLineSentArrivesOnceAndInOrder) {
  tcp::acceptor acceptor = peer_listens();
  ASSERT_TRUE(start());
  tcp::socket peer = accepted(acceptor);
  constexpr int n_lines = 3000;
  std::string text;
  for (int i = 0; i < n_lines; ++i) text += line(i);
  for (std::size_t at = 0; at < text.size(); at += 8191) {
    send(peer, std::string_view(text).substr(at, 8191));
    io.restart();
    io.poll();
  }
  ASSERT_TRUE(comes_true([&] { return taker.reports.size() == n_lines; })) << taker.reports.size();
  for (int i = 0; i < n_lines; ++i)
    ASSERT_EQ(taker.reports[static_cast<std::size_t>(i)].report.time_s, 1764000000 + i);
  EXPECT_TRUE(taker.rejects.empty());
  EXPECT_EQ(connection->counters().bytes, text.size());
  EXPECT_THAT(states, ElementsAre(FeedState::connecting, FeedState::connected));
}

TEST_F(ConnectionTest, IsMadeAnewWhenThePeerCloses) {
  tcp::acceptor acceptor = peer_listens();
  ASSERT_TRUE(start());
  for (int i = 0; i < 3; ++i) {
    tcp::socket peer = accepted(acceptor);
    send(peer, line(i));
    ASSERT_TRUE(
        comes_true([&] { return taker.reports.size() == static_cast<std::size_t>(i + 1); }));
    peer.close();
    ASSERT_TRUE(comes_true([&] { return connection->counters().connected >= 1u + unsigned(i); }));
  }
  // Made, lost: each loss and each new connection says that silence before it means nothing.
  EXPECT_GE(taker.n_breaks, 5);
  const std::string where = feed.connect->text();
  EXPECT_THAT(lines,
              testing::Contains("connection to " + where + " lost: closed by the other side"));
}

TEST_F(ConnectionTest, IsNotCalledConnectedBeforeItIsMadeAnew) {
  backoff_scale = 1000;
  tcp::acceptor acceptor = peer_listens();
  ASSERT_TRUE(start());
  accepted(acceptor).close();
  ASSERT_TRUE(comes_true([&] { return lines.size() == 2; }));
  EXPECT_THAT(lines.back(), HasSubstr("lost: closed by the other side"));
  EXPECT_THAT(states,
              ElementsAre(FeedState::connecting, FeedState::connected, FeedState::connecting));
}

TEST_F(ConnectionTest, ARefusedConnectionIsToldOnceAndTriedOn) {
  {
    // A port that was free a moment ago.
    const tcp::acceptor acceptor = peer_listens();
  }
  ASSERT_TRUE(start());
  int n_pauses = 0;
  ASSERT_TRUE(comes_true([&] { return !lines.empty() && ++n_pauses > 20; }));
  EXPECT_THAT(lines, ElementsAre("cannot connect to " + feed.connect->text() +
                                 ": Connection refused; trying again"));
  EXPECT_THAT(states, ElementsAre(FeedState::connecting));
  // Then it comes up.
  tcp::acceptor acceptor(io, tcp::endpoint(asio::ip::address_v4::loopback(),
                                           static_cast<unsigned short>(feed.connect->port)));
  ASSERT_TRUE(comes_true([&] { return connection->counters().connected == 1; }));
  EXPECT_EQ(lines.back(), "connected to " + feed.connect->text());
}

TEST_F(ConnectionTest, NamesAreLookedUp) {
  tcp::acceptor acceptor = peer_listens();
  feed.connect->host = "localhost";
  ASSERT_TRUE(start());
  EXPECT_TRUE(comes_true([&] { return connection->counters().connected == 1; }));
}

TEST_F(ConnectionTest, ANameThatDoesNotExistIsToldOnce) {
  // RFC 2606: .invalid never exists.
  feed.connect = config::Endpoint{"roof.invalid", 1};
  ASSERT_TRUE(start());
  ASSERT_TRUE(comes_true([&] { return !lines.empty(); }));
  EXPECT_THAT(lines[0], HasSubstr("cannot find roof.invalid:1: "));
  EXPECT_THAT(lines[0], HasSubstr("; trying again"));
}

TEST_F(ConnectionTest, SilenceBeyondTheLimitEndsTheConnection) {
  feed.stall_s = 0.05;
  tcp::acceptor acceptor = peer_listens();
  ASSERT_TRUE(start());
  tcp::socket peer = accepted(acceptor);
  ASSERT_TRUE(comes_true([&] { return connection->counters().stalled > 0; }));
  EXPECT_THAT(states, testing::Contains(FeedState::stalled));
  // It connects again by itself.
  EXPECT_TRUE(comes_true([&] { return connection->counters().connected > 1; }));
}

TEST_F(ConnectionTest, ListeningTakesSeveralClientsUpToTheLimit) {
  feed.listen = config::Endpoint{"127.0.0.1", 0};
  feed.max_connections = 2;
  ASSERT_TRUE(start());
  EXPECT_GT(connection->listening()->port, 0);
  tcp::socket one = client(), two = client();
  ASSERT_TRUE(comes_true([&] { return connection->counters().connected == 2; }));
  // Half a line each, then the rest: every client has its own framing.
  send(one, line(1).substr(0, 20));
  send(two, line(2).substr(0, 30));
  io.restart();
  io.poll();
  send(one, line(1).substr(20));
  send(two, line(2).substr(30));
  ASSERT_TRUE(comes_true([&] { return taker.reports.size() == 2; }));
  EXPECT_TRUE(taker.rejects.empty());

  tcp::socket three = client();
  ASSERT_TRUE(comes_true([&] { return connection->counters().refused == 1; }));
  char byte{};
  error_code error;
  EXPECT_EQ(three.read_some(asio::buffer(&byte, 1), error), 0u);
  EXPECT_EQ(error, asio::error::eof);

  one.close();
  two.close();
  ASSERT_TRUE(comes_true([&] { return states.back() == FeedState::listening; }));
  EXPECT_THAT(states,
              ElementsAre(FeedState::listening, FeedState::connected, FeedState::listening));
  tcp::socket four = client();
  EXPECT_TRUE(comes_true([&] { return connection->counters().connected == 3; }));
}

TEST_F(ConnectionTest, ATakenAddressIsAnErrorThatNamesIt) {
  tcp::acceptor other(io, tcp::endpoint(asio::ip::address_v4::loopback(), 0));
  feed.listen = config::Endpoint{"127.0.0.1", other.local_endpoint().port()};
  const auto started = start();
  ASSERT_FALSE(started);
  EXPECT_EQ(started.error().line(), "feed \"roof\" cannot listen on " + feed.listen->text() +
                                        ": Address already in use; choose another address or port");
  EXPECT_EQ(exit_code(started.error().code), 1);
}

TEST_F(ConnectionTest, AnAddressOfAnotherMachineIsAnError) {
  feed.listen = config::Endpoint{"192.0.2.1", 0};  // RFC 5737: documentation only
  const auto started = start();
  ASSERT_FALSE(started);
  EXPECT_THAT(started.error().line(), HasSubstr("Cannot assign requested address"));
}

TEST_F(ConnectionTest, OversizedAndUnfinishedLinesAreCounted) {
  feed.listen = config::Endpoint{"127.0.0.1", 0};
  ASSERT_TRUE(start());
  tcp::socket peer = client();
  send(peer,
       line(1) + std::string(10000, 'x') + "\n" + line(2) + "not json\n" + line(3).substr(0, 9));
  peer.close();
  ASSERT_TRUE(comes_true([&] { return taker.n_breaks == 2; }));
  EXPECT_EQ(taker.reports.size(), 2u);
  EXPECT_EQ(taker.rejects[Reject::too_long], 1);
  EXPECT_EQ(taker.rejects[Reject::malformed], 2) << "one is no JSON, one was cut by the close";
}

TEST_F(ConnectionTest, NothingIsReadWhileThereIsNoRoomAndNothingIsLost) {
  tcp::acceptor acceptor = peer_listens();
  feed.stall_s = 0.05;  // waiting for room must not count as the feed's silence
  ASSERT_TRUE(start());
  tcp::socket peer = accepted(acceptor);
  ASSERT_TRUE(comes_true([&] { return connection->counters().connected == 1; }));
  taker.has_room = false;
  peer.non_blocking(true);
  std::string text;
  for (int i = 0; i < 1000; ++i) text += line(i);
  // Until the system's own buffers are full on both sides.
  std::size_t n_sent = 0;
  bool is_full = false;
  ASSERT_TRUE(comes_true([&] {
    error_code error;
    while (!error && n_sent < 100'000'000) {
      const std::size_t at = n_sent % text.size();
      n_sent += peer.write_some(asio::buffer(text.data() + at, text.size() - at), error);
    }
    // Full twice, with a pause for the network side to take more if it would.
    const bool was_full = std::exchange(is_full, error == asio::error::would_block);
    return was_full && is_full && taker.n_refused > 0;
  }));
  EXPECT_LE(connection->counters().bytes, 32u * 1024) << "one buffer, no more";
  EXPECT_EQ(connection->counters().stalled, 0u);
  EXPECT_TRUE(taker.reports.empty());

  taker.has_room = true;
  connection->room();
  peer.non_blocking(false);
  if (n_sent % text.size() != 0) {
    // The rest of the last thousand.
    std::thread rest([&] { send(peer, std::string_view(text).substr(n_sent % text.size())); });
    ASSERT_TRUE(comes_true([&] {
      return taker.reports.size() == (n_sent / text.size() + 1) * 1000;
    })) << taker.reports.size();
    rest.join();
  }
  EXPECT_TRUE(taker.rejects.empty());
}

TEST_F(ConnectionTest, SessionsWaitingForRoomDoNotWakeEachOther) {
  feed.listen = config::Endpoint{"127.0.0.1", 0};
  ASSERT_TRUE(start());
  taker.has_room = false;
  tcp::socket one = client(), two = client();
  ASSERT_TRUE(comes_true([&] { return connection->counters().connected == 2; }));
  send(one, line(1));
  send(two, line(2));
  ASSERT_TRUE(comes_true([&] { return taker.n_refused == 2; }));
  for (int i = 0; i < 10; ++i) {
    io.restart();
    io.poll();
  }
  EXPECT_EQ(taker.n_refused, 2) << "nothing is to be done until there is room";
  taker.has_room = true;
  connection->room();
  EXPECT_TRUE(comes_true([&] { return taker.reports.size() == 2; }));
}

TEST_F(ConnectionTest, LinesReadBeforeStopAreHandedOver) {
  feed.listen = config::Endpoint{"127.0.0.1", 0};
  ASSERT_TRUE(start());
  taker.has_room = false;
  tcp::socket peer = client();
  send(peer, line(1) + line(2));
  ASSERT_TRUE(comes_true([&] { return taker.n_refused > 0; }));
  stop();
  EXPECT_EQ(taker.reports.size(), 2u);
  EXPECT_EQ(states.back(), FeedState::stopped);
}

TEST_F(ConnectionTest, AnExceptionEndsItsSessionOnly) {
  tcp::acceptor acceptor = peer_listens();
  ASSERT_TRUE(start());
  taker.throws = true;
  tcp::socket peer = accepted(acceptor);
  send(peer, line(1));
  ASSERT_TRUE(comes_true([&] { return connection->counters().exceptions > 0; }));
  EXPECT_THAT(lines, testing::Contains("a session failed: no luck"));
  taker.throws = false;
  tcp::socket again = accepted(acceptor);
  send(again, line(2));
  EXPECT_TRUE(comes_true([&] { return !taker.reports.empty(); }));
}

TEST(Backoff, DoublesFromOneSecondToSixtyLessAtMostHalf) {
  Backoff backoff(17);
  for (const double longest : {1., 2., 4., 8., 16., 32., 60., 60., 60.}) {
    const double wait_s = backoff.next().count();
    EXPECT_LE(wait_s, longest);
    EXPECT_GE(wait_s, longest / 2);
  }
  backoff.reset();
  EXPECT_LE(backoff.next().count(), 1);
}

TEST(LimitedLog, HoldsBackAFloodAndCountsIt) {
  std::vector<std::string> lines;
  LimitedLog log([&](Level, std::string_view text) { lines.emplace_back(text); });
  const auto start = LimitedLog::Clock::now();
  for (int i = 0; i < 100; ++i) log(Level::info, "flap", start);
  EXPECT_EQ(lines.size(), 20u);
  log(Level::info, "later", start + std::chrono::seconds(60));
  EXPECT_EQ(lines.back(), "later (80 lines held back)");
  log(Level::info, "and then", start + std::chrono::seconds(60));
  EXPECT_EQ(lines.back(), "and then");
}

// The name stayed unresolved for ever where the system gave no thread once.
TEST(Lookup, TriesAgainWhereNoThreadCouldBeStarted) {
  asio::io_context io;
  bool is_short = true;
  Lookup lookup(io, [&](std::function<void()> work) {
    if (std::exchange(is_short, false))
      throw std::system_error(std::make_error_code(std::errc::resource_unavailable_try_again));
    Lookup::start_thread(std::move(work));
  });
  std::vector<std::size_t> found;
  std::string error;
  asio::co_spawn(
      io,
      [&]() -> asio::awaitable<void> {
        for (int i = 0; i < 2; ++i)
          found.push_back(
              (co_await lookup.resolve("localhost", 27411, std::chrono::minutes(1), error)).size());
      },
      [](const std::exception_ptr& fault) { EXPECT_FALSE(fault); });
  io.run();
  ASSERT_EQ(found.size(), 2u);
  EXPECT_EQ(found[0], 0u);
  EXPECT_GT(found[1], 0u) << error;
}

}  // namespace
}  // namespace roundel::feed
