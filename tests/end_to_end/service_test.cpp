// What roundeld tells those who look after it: the service manager, and a command of theirs.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <csignal>
#include <cstring>
#include <memory>

#include "tests/end_to_end/harness.h"
#include "tests/serve/client.h"

namespace roundel::end_to_end {
namespace {

// For the programs that are started while it lives.
class Variable {
 public:
  Variable(const char* name, const std::string& value) : name_(name) {
    ::setenv(name, value.c_str(), 1);
  }
  Variable(const Variable&) = delete;
  Variable& operator=(const Variable&) = delete;
  ~Variable() { ::unsetenv(name_); }

 private:
  const char* name_;
};

// The manager's end of the socket.
class Manager {
 public:
  explicit Manager(const std::filesystem::path& path) : socket_(::socket(AF_UNIX, SOCK_DGRAM, 0)) {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    std::strncpy(address.sun_path, path.c_str(), sizeof address.sun_path - 1);
    EXPECT_EQ(::bind(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
  }
  Manager(const Manager&) = delete;
  Manager& operator=(const Manager&) = delete;
  ~Manager() { ::close(socket_); }
  /// All that has come so far.
  const std::string& heard() {
    char buffer[512];
    for (ssize_t n = 0; (n = ::recv(socket_, buffer, sizeof buffer, MSG_DONTWAIT)) > 0;)
      heard_.append(buffer, static_cast<std::size_t>(n)) += '\n';
    return heard_;
  }
  bool has_heard(std::string_view text) { return heard().find(text) != std::string::npos; }

 private:
  int socket_;
  std::string heard_;
};

const FeedEntry listening{.name = "roof-a", .source = "listen = \"127.0.0.1:0\""};

// The protocol is sd_notify(3)'s, systemd 252: datagrams of VARIABLE=VALUE lines.
TEST(Service, ManagerIsToldOfStartLifeAndEnd) {
  const Folder folder;
  Manager manager(folder / "notify");
  write_file(folder / "roundel.toml", configuration({listening}));
  const Variable socket("NOTIFY_SOCKET", (folder / "notify").string());
  const Variable interval("WATCHDOG_USEC", "200000");
  Daemon daemon(folder / "roundel.toml");
  EXPECT_TRUE(eventually([&] { return manager.has_heard("READY=1"); }));
  EXPECT_TRUE(eventually([&] {
    const auto first = manager.heard().find("WATCHDOG=1");
    return first != std::string::npos &&
           manager.heard().find("WATCHDOG=1", first + 1) != std::string::npos;
  }));
  EXPECT_FALSE(manager.has_heard("STOPPING=1"));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_TRUE(manager.has_heard("STOPPING=1"));
}

TEST(Service, ManagerHearsNoLifeWhereNoneIsAskedFor) {
  const Folder folder;
  Manager manager(folder / "notify");
  write_file(folder / "roundel.toml", configuration({listening}));
  const Variable socket("NOTIFY_SOCKET", (folder / "notify").string());
  const Variable interval("WATCHDOG_USEC", "200000");
  const Variable process("WATCHDOG_PID", "1");
  Daemon daemon(folder / "roundel.toml");
  EXPECT_TRUE(eventually([&] { return manager.has_heard("READY=1"); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_FALSE(manager.has_heard("WATCHDOG=1"));
}

TEST(Service, CommandIsRunWhenAFeedFallsSilentAndWhenItIsBack) {
  const Folder folder;
  simulate_hour(folder.path());
  const auto told = folder / "told";
  write_file(folder / "roundel.toml",
             configuration({listening}) +
                 "\n[notify]\nsilent_s = 1\ncommand = 'echo \"$ROUNDEL_STATE $ROUNDEL_REASON "
                 "$ROUNDEL_FEED: $ROUNDEL_TEXT\" >> " +
                 told.string() + "'\n");
  Daemon daemon(folder / "roundel.toml");
  const auto has_told = [&](std::string_view text) {
    return std::filesystem::exists(told) && read_file(told).find(text) != std::string::npos;
  };
  EXPECT_TRUE(eventually([&] {
    return has_told("failing feed_silent roof-a: feed roof-a has brought no report for 1 s\n");
  }));
  EXPECT_FALSE(has_told("recovered"));
  const auto lines = lines_of(folder / "roof-a.ndjson");
  serve::Client sender(daemon.feed_port("roof-a"));
  std::size_t sent = 0;
  EXPECT_TRUE(eventually([&] {
    if (sent < lines.size()) sender.send(lines[sent++] + "\n");
    return has_told("recovered feed_silent roof-a: ");
  }));
  EXPECT_EQ(daemon.stop(), 0);
}

TEST(Service, ACommandThatFailsIsLoggedAndRecordingGoesOn) {
  const Folder folder;
  write_file(folder / "roundel.toml",
             configuration({listening}) + "\n[notify]\nsilent_s = 1\ncommand = \"exit 7\"\n");
  Daemon daemon(folder / "roundel.toml");
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("notify: the command ended with 7"); }));
  EXPECT_EQ(daemon.stop(), 0);
}

// A page that cannot be served is no reason not to record.
TEST(Service, ATakenPagePortLeavesTheRecordingAloneAndIsTriedAgain) {
  const Folder folder;
  auto taken = std::make_unique<Source>();
  std::string text = configuration({listening});
  const std::string any = "[web]\nlisten = \"127.0.0.1:0\"";
  text.replace(text.find(any), any.size(),
               fmt::format("[web]\nlisten = \"127.0.0.1:{}\"", taken->port()));
  write_file(folder / "roundel.toml", text);
  Process roundeld_run({roundeld, "run", "--config", (folder / "roundel.toml").string()},
                       folder / "log");
  const auto has_logged = [&](std::string_view part) {
    return roundeld_run.log().find(part) != std::string::npos;
  };
  EXPECT_TRUE(eventually([&] { return has_logged("no page is served, recording goes on"); }));
  EXPECT_TRUE(has_logged("recording into"));
  taken.reset();
  EXPECT_TRUE(eventually([&] { return has_logged("page on http://127.0.0.1:"); }));
  roundeld_run.signal(SIGTERM);
  EXPECT_EQ(roundeld_run.wait(), 0);
}

}  // namespace
}  // namespace roundel::end_to_end
