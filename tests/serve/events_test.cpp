// Live events over real sockets.
#include <gtest/gtest.h>

#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "roundel/serve/server.h"
#include "tests/serve/client.h"
#include "tests/serve/sample_live.h"
#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

class EventsTest : public testing::Test {
 protected:
  EventsTest() { file_ = sample_store(folder_); }

  void start(Limits limits) {
    server_.emplace(must(Server::start({.listen = {"127.0.0.1", 0},
                                        .store = file_,
                                        .live =
                                            [this] {
                                              const std::lock_guard lock(mutex_);
                                              live_.now_s += 1;  // time always goes on
                                              return live_;
                                            },
                                        .names = {},
                                        .limits = limits})));
  }
  static Limits swift() {
    Limits limits;
    limits.event_time = std::chrono::milliseconds(5);
    return limits;
  }
  template <class Change>
  void change(Change change) {
    const std::lock_guard lock(mutex_);
    change(live_);
  }
  // Connected, header and retry hint read.
  std::unique_ptr<Client> listener() {
    auto client = std::make_unique<Client>(server_->port());
    client->send("GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n");
    header_ = client->read_header();
    EXPECT_EQ(client->read_until("\n\n"), "retry: 3000\n\n");
    return client;
  }
  static json next(Client& client) {
    const std::string event = client.read_until("\n\n");
    constexpr std::string_view start = "event: live\ndata: ";
    EXPECT_TRUE(event.starts_with(start)) << event;
    return event.starts_with(start) ? json::parse(event.substr(start.size())) : json();
  }

  TemporaryFolder folder_;
  std::filesystem::path file_;
  std::mutex mutex_;
  Live live_ = sample_live();
  Received header_;
  std::optional<Server> server_;
};

TEST_F(EventsTest, ASnapshotComesAtOnceAndThenWhatChanged) {
  start(swift());
  const auto client = listener();
  EXPECT_EQ(header_.status, 200);
  EXPECT_EQ(header_.fields["content-type"], "text/event-stream");
  EXPECT_EQ(header_.fields["cache-control"], "no-store");
  EXPECT_FALSE(header_.fields.contains("content-length"));
  EXPECT_EQ(next(*client)["feeds"][0]["received"], 1000);
  for (int i = 1; i <= 3; ++i) {
    change([](Live& live) { ++live.feeds[0].received; });
    EXPECT_EQ(next(*client)["feeds"][0]["received"], 1000 + i);
  }
}

TEST_F(EventsTest, EveryListenerHearsTheSame) {
  start(swift());
  const auto first = listener();
  EXPECT_EQ(next(*first)["feeds"][0]["received"], 1000);
  const auto second = listener();
  EXPECT_EQ(next(*second)["feeds"][0]["received"], 1000);
  change([](Live& live) { live.feeds[0].state = FeedState::stalled; });
  EXPECT_EQ(next(*first)["feeds"][0]["state"], "stalled");
  EXPECT_EQ(next(*second)["feeds"][0]["state"], "stalled");
}

TEST_F(EventsTest, SilenceIsBridgedByHeartbeats) {
  Limits limits = swift();
  limits.heartbeat_time = std::chrono::milliseconds(20);
  start(limits);
  const auto client = listener();
  next(*client);
  EXPECT_EQ(client->read_until("\n\n"), ": still here\n\n");
  EXPECT_EQ(client->read_until("\n\n"), ": still here\n\n");
}

TEST_F(EventsTest, ALateListenerSeesTheNewestState) {
  start(swift());
  {
    const auto client = listener();
    next(*client);
  }
  change([](Live& live) { live.feeds[0].received = 5000; });
  const auto client = listener();
  json event = next(*client);
  // The first listener's place may not be free yet; then the change comes as an event.
  if (event["feeds"][0]["received"] != 5000) event = next(*client);
  EXPECT_EQ(event["feeds"][0]["received"], 5000);
}

TEST_F(EventsTest, MoreListenersThanAllowedAreTurnedAwayUntilOneLeaves) {
  Limits limits = swift();
  limits.event_clients = 2;
  start(limits);
  auto first = listener();
  const auto second = listener();
  EXPECT_EQ(Client(server_->port()).get("/api/live").status, 503);
  first.reset();
  // Free as soon as the server has met the end, which is not told to us.
  for (int status = 503; status != 200;) {
    Client client(server_->port());
    client.send("GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n");
    status = client.read_header().status;
  }
}

TEST_F(EventsTest, AListenerThatStopsReadingIsCutAndOthersAreNotHeldUp) {
  Limits limits = swift();
  limits.event_write_time = std::chrono::milliseconds(200);
  start(limits);
  // Events so long that few of them fill what the kernel holds.
  change([](Live& live) { live.store_state = std::string(64 * 1024, 'x'); });
  const auto well = listener();
  next(*well);
  Client stuck(server_->port(), 4096);
  stuck.send("GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n");
  std::string metrics;
  constexpr std::string_view cut = "roundel_http_refused_total{limit=\"event_write_time\"} 1\n";
  for (int i = 1; metrics.find(cut) == std::string::npos; ++i) {
    change([&](Live& live) { live.feeds[0].received = 1000 + i; });
    EXPECT_GT(next(*well)["feeds"][0]["received"], 1000) << "others are not held up";
    metrics = Client(server_->port()).get("/metrics").body;
  }
  EXPECT_NE(metrics.find("roundel_http_event_clients 1\n"), std::string::npos);
  stuck.read_to_end();
  EXPECT_TRUE(stuck.is_ended());
}

TEST_F(EventsTest, HeadTellsWhatGetWouldBe) {
  start(swift());
  Client client(server_->port());
  client.send("HEAD /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n");
  EXPECT_EQ(client.read_header().fields["content-type"], "text/event-stream");
  EXPECT_TRUE(client.is_ended());
}

}  // namespace
}  // namespace roundel::serve
