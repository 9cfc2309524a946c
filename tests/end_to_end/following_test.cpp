// What roundeld follows while it runs: peers that go and come, trials, its configuration, signals.
#include <gtest/gtest.h>
#include <signal.h>

#include "tests/end_to_end/harness.h"
#include "tests/program/run_program.h"
#include "tests/serve/client.h"

namespace roundel::end_to_end {
namespace {

class Following : public testing::Test {
 protected:
  void SetUp() override {
    simulate_hour(folder_.path());
    lines_ = lines_of(folder_ / "roof-a.ndjson");
  }
  std::filesystem::path config() const { return folder_ / "roundel.toml"; }
  std::string database() const { return (folder_ / "roundel.db").string(); }
  Json status() const { return run_json({roundel, "status", database(), "--json"}); }
  std::string part(double from, double to) const {
    const auto n = static_cast<double>(lines_.size());
    return joined(lines_, static_cast<std::size_t>(from * n), static_cast<std::size_t>(to * n));
  }
  std::size_t n_lines(double to) const {
    return static_cast<std::size_t>(to * static_cast<double>(lines_.size()));
  }
  /// So large a part of the lines has been counted, or all but the last few of it.
  bool is_nearly(double n, double part) const {
    return n + Daemon::most_held >= static_cast<double>(n_lines(part));
  }
  static std::string connect(const Source& source) {
    return "connect = \"127.0.0.1:" + std::to_string(source.port()) + "\"";
  }
  Folder folder_;
  std::vector<std::string> lines_;
};

TEST_F(Following, ReconnectsAfterThePeerHasDied) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}));
  Daemon daemon(config());
  EXPECT_TRUE(source.send(part(0, 0.5)));
  source.hang_up();
  EXPECT_TRUE(source.send(part(0.5, 1)));
  EXPECT_EQ(source.n_connections(), 2);
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a", 2); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["received"], lines_.size());
}

TEST_F(Following, ALineCutByADyingPeerIsCounted) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}));
  Daemon daemon(config());
  EXPECT_TRUE(source.send(lines_[0] + "\r\n" + std::string(5000, 'x') + "\n" +
                          lines_[1].substr(0, lines_[1].size() / 2)));
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
  EXPECT_EQ(daemon.stop(), 0);
  const Json reports = status()["reports"];
  EXPECT_EQ(unaccounted(reports), 0);
  EXPECT_EQ(reports["rejected"]["too_long"], 1);
  EXPECT_EQ(reports["rejected"]["malformed"], 1);
}

TEST_F(Following, TakesWhatIsSentToAFeedThatListens) {
  write_file(config(), configuration({{.name = "roof-a", .source = "listen = \"127.0.0.1:0\""}}));
  Daemon daemon(config());
  serve::Client sender(daemon.feed_port("roof-a"));
  EXPECT_TRUE(sender.send(part(0, 1)));
  sender.finish_sending();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["received"], lines_.size());
}

TEST_F(Following, ATrialStartedByCommandIsRecordedUnder) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}));
  Daemon daemon(config());
  EXPECT_TRUE(source.send(part(0, 0.5)));
  EXPECT_TRUE(eventually([&] {
    return is_nearly(status()["reports"]["received"].get<double>(), 0.5);
  })) << "roundel reads while roundeld writes";
  const Ran started = run_program(
      roundel, {"trial", database(), "start", "--feed", "roof-a", "--antenna", "spider"},
      folder_.path());
  EXPECT_EQ(started.code, 0) << started.err;
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("trial 2 runs: spider on gable"); }))
      << daemon.process().log();
  EXPECT_TRUE(source.send(part(0.5, 1)));
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
  EXPECT_EQ(daemon.stop(), 0);
  const Json spider = run_json({roundel, "reach", database(), "--antenna", "spider", "--json"});
  const Json both = run_json({roundel, "reach", database(), "--json"});
  // Half the time of the same traffic.
  const double share = spider["cells"].get<double>() / both["cells"].get<double>();
  EXPECT_NEAR(share, 0.5, 0.1);
}

TEST_F(Following, SighupAppliesNotifyAndNamesWhatTakesARestart) {
  const std::string plain =
      configuration({{.name = "roof-a", .source = "listen = \"127.0.0.1:0\""}});
  write_file(config(), plain);
  Daemon daemon(config());
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("listening: feed"); }));
  write_file(config(), plain +
                           "\n[notify]\nsilent_s = 1\ncommand = \"exit 7\"\n"
                           "[link]\nelements = 4\n");
  daemon.process().signal(SIGHUP);
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("notify: the command ended with 7"); }));
  EXPECT_TRUE(daemon.has_logged("[link] elements has changed: that takes a restart"));
  EXPECT_TRUE(daemon.has_logged("the configuration has been read again"));
  EXPECT_FALSE(daemon.has_logged("silent_s has changed"));
  EXPECT_EQ(daemon.stop(), 0);
}

TEST_F(Following, SighupRereadsFeedsAndLayouts) {
  Source a, b;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(a)}}));
  Daemon daemon(config());
  EXPECT_TRUE(a.send(part(0, 0.25)));
  EXPECT_TRUE(eventually([&] { return is_nearly(daemon.received("roof-a"), 0.25); }));

  write_file(config(), configuration({{.name = "roof-a", .source = connect(a)},
                                      {.name = "roof-b",
                                       .source = connect(b),
                                       .antenna = "spider",
                                       .receiver = "rx2",
                                       .layout = "text"}}));
  daemon.process().signal(SIGHUP);
  EXPECT_TRUE(b.send("1772445600.5;4b1617;52.3;19.8;36000\n"));
  b.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-b"); }));
  EXPECT_TRUE(a.send(part(0.25, 0.5)));
  EXPECT_TRUE(eventually([&] { return is_nearly(daemon.received("roof-a"), 0.5); }));
  EXPECT_EQ(a.n_connections(), 1) << "a feed that has not changed runs on";

  // Its layout changes: what was good before is no report now.
  EXPECT_TRUE(b.await_peer());
  write_file(
      config(),
      configuration(
          {{.name = "roof-b", .source = connect(b), .antenna = "spider", .receiver = "rx2"}}));
  daemon.process().signal(SIGHUP);
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("feed \"roof-a\" is no more"); }));
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("feed \"roof-b\" has changed"); }));
  b.hang_up();
  EXPECT_TRUE(b.send("1772445601.5;4b1617;52.3;19.8;36000\n"));
  b.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-b", 2); }));

  write_file(config(), "[site]\nlatitude = 95\n");
  daemon.process().signal(SIGHUP);
  EXPECT_TRUE(eventually([&] { return daemon.has_logged("the configuration stays as it was"); }));
  EXPECT_TRUE(daemon.has_logged("roundel.toml:2"));
  EXPECT_EQ(daemon.stop(), 0) << daemon.process().log();
  EXPECT_EQ(unaccounted(status()["reports"]), 0);
  const Json after = status();
  for (const Json& feed : after["feeds"]) {
    if (feed["name"] != "roof-b") continue;
    EXPECT_EQ(feed["reports"]["received"], 2);
    EXPECT_EQ(feed["reports"]["rejected"]["malformed"], 1) << feed;
  }
}

TEST_F(Following, EitherSignalStopsInGoodOrder) {
  for (const int signal : {SIGTERM, SIGINT}) {
    Source source;
    write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}, 3600));
    std::filesystem::remove(database());
    Daemon daemon(config());
    EXPECT_TRUE(source.send(part(0, 0.5)));
    source.hang_up();
    EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
    daemon.process().signal(signal);
    EXPECT_EQ(daemon.process().wait(), 0) << daemon.process().log();
    EXPECT_EQ(status()["reports"]["received"], n_lines(0.5)) << "the next write was an hour away";
  }
}

}  // namespace
}  // namespace roundel::end_to_end
