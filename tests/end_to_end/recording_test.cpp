// The real programs over real sockets: what is sent is recorded, line for line.
#include <gtest/gtest.h>
#include <signal.h>
#include <sqlite3.h>

#include <algorithm>
#include <memory>
#include <regex>
#include <utility>

#include "tests/end_to_end/harness.h"

namespace roundel::end_to_end {
namespace {

class Whole : public testing::Test {
 protected:
  void SetUp() override { simulate_hour(folder_.path()); }
  std::filesystem::path config() const { return folder_ / "roundel.toml"; }
  std::string database() const { return (folder_ / "roundel.db").string(); }
  Json status() const { return run_json({roundel, "status", database(), "--json"}); }
  static std::string connect(const Source& source) {
    return "connect = \"127.0.0.1:" + std::to_string(source.port()) + "\"";
  }
  std::string file(const std::string& feed) const {
    return read_file(folder_ / (feed + ".ndjson"));
  }
  std::vector<std::string> lines(const std::string& feed) const {
    return lines_of(folder_ / (feed + ".ndjson"));
  }
  Folder folder_;
};

TEST_F(Whole, AnHourOfTwoFeedsIsRecordedToTheLine) {
  Source a, b;
  write_file(
      config(),
      configuration(
          {{.name = "roof-a", .source = connect(a)},
           {.name = "roof-b", .source = connect(b), .antenna = "spider", .receiver = "rx2"}}));
  Daemon daemon(config());
  std::thread other([&] { EXPECT_TRUE(b.send(file("roof-b"))); });
  EXPECT_TRUE(a.send(file("roof-a")));
  other.join();
  a.hang_up();
  b.hang_up();
  const std::size_t n_a = lines("roof-a").size(), n_b = lines("roof-b").size();
  EXPECT_TRUE(eventually([&] {
    return daemon.has_read_to_the_end("roof-a") && daemon.has_read_to_the_end("roof-b");
  }));

  const Answer page = get(daemon.page_port(), "/");
  EXPECT_EQ(page.status, 200);
  EXPECT_NE(page.body.find("<html"), std::string::npos);
  for (const char* path : {"/api/site", "/api/trials", "/api/status", "/api/reach?antenna=spider",
                           "/api/openapi.json", "/metrics", "/health"})
    EXPECT_EQ(get(daemon.page_port(), path).status, 200) << path;

  EXPECT_EQ(daemon.stop(), 0) << daemon.process().log();
  const Json status = this->status();
  EXPECT_EQ(status["reports"]["received"], n_a + n_b);
  EXPECT_EQ(unaccounted(status["reports"]), 0) << status["reports"];
  EXPECT_GT(status["reports"]["repeats"], 0) << "the scenario repeats a tenth of roof-a";
  for (const Json& feed : status["feeds"])
    EXPECT_EQ(feed["reports"]["received"], feed["name"] == "roof-a" ? n_a : n_b);
  EXPECT_EQ(integrity(database()), "ok");

  const Json reach = run_json({roundel, "reach", database(), "--json"});
  EXPECT_EQ(reach["sectors"].size(), 72U);
  for (const Json& sector : reach["sectors"]) {
    ASSERT_FALSE(sector["reach_km"].is_null()) << sector["bearing_deg"];
    // What counts as reach at all: within 105 % of the horizon of that aircraft.
    EXPECT_LE(sector["reach_km"], 1.05 * sector["horizon_km"].get<double>());
  }
  EXPECT_LE(reach["farthest"]["reach_km"], 1.05 * reach["farthest"]["horizon_km"].get<double>());
}

TEST_F(Whole, LiveRecordingEqualsLoading) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}));
  {
    Daemon daemon(config());
    EXPECT_TRUE(source.send(file("roof-a")));
    source.hang_up();
    EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
    EXPECT_EQ(daemon.stop(), 0);
  }
  const Json live = status();
  std::filesystem::remove(database());
  run_json({roundeld, "load", "--config", config().string(), "--feed", "roof-a",
            (folder_ / "roof-a.ndjson").string(), "--json"});
  const Json loaded = status();
  for (const char* key : {"reports", "cells", "silent_cells", "flights", "aircraft", "from", "to"})
    EXPECT_EQ(live[key], loaded[key]) << key;
}

TEST_F(Whole, LoadingTwiceAddsNothingAndReadsGzipAndStandardInput) {
  write_file(config(), configuration({{.name = "roof-a", .source = ""}}));
  const std::string plain = (folder_ / "roof-a.ndjson").string();
  const auto load = [&](const std::string& what) {
    return run_json(
        {"/bin/sh", "-c",
         roundeld + " load --config " + config().string() + " --feed roof-a --json " + what});
  };
  const Json first = load(plain);
  EXPECT_EQ(first["reports"]["received"], lines("roof-a").size());
  EXPECT_EQ(unaccounted(first["reports"]), 0) << first["reports"];
  EXPECT_GT(first["cells"], 0);
  const Json before = status();
  ASSERT_EQ(std::system(("gzip -k " + plain).c_str()), 0);
  for (const std::string& again : {plain, plain + ".gz", "- < " + plain, "- < " + plain + ".gz"}) {
    const Json more = load(again);
    EXPECT_EQ(more["cells"], 0) << again;
    EXPECT_EQ(more["flights"], 0) << again;
    EXPECT_EQ(more["reports"]["rejected"]["already_recorded"], lines("roof-a").size()) << again;
  }
  const Json after = status();
  EXPECT_EQ(after["cells"], before["cells"]);
  EXPECT_EQ(after["flights"], before["flights"]);

  std::filesystem::remove(database());
  EXPECT_EQ(load(plain + ".gz")["cells"], first["cells"]);
}

TEST_F(Whole, WhatAPipeHasBroughtIsStoredWhileItIsSilent) {
  write_file(config(), configuration({{.name = "roof-a", .source = ""}}));
  const auto all = lines("roof-a");
  write_file(folder_ / "first", joined(all, 0, all.size() / 2));
  write_file(folder_ / "second", joined(all, all.size() / 2, all.size()));
  write_file(folder_ / "nothing", "");
  run_json({roundeld, "load", "--config", config().string(), "--feed", "roof-a", "--json",
            (folder_ / "nothing").string()});  // makes the database, which others now read
  const std::string go = (folder_ / "go").string();
  Process load({"/bin/sh", "-c",
                "(cat " + (folder_ / "first").string() + "; until [ -e " + go +
                    " ]; do sleep 0.05; done; cat " + (folder_ / "second").string() + ") | " +
                    roundeld + " load --config " + config().string() + " --feed roof-a -"},
               folder_ / "load.log");
  EXPECT_TRUE(eventually(
      [&] { return std::filesystem::exists(database()) && status()["reports"]["received"] > 0; }));
  const std::string noted =
      run_json({"/bin/sh", "-c", roundel + " trial " + database() + " note 'silent' --json"})
          .dump();
  EXPECT_NE(noted.find("silent"), std::string::npos) << "others may write meanwhile";
  write_file(go, "");
  EXPECT_EQ(load.wait(), 0) << load.log();
  EXPECT_EQ(status()["reports"]["received"], all.size());
}

TEST_F(Whole, OneImpossibleLevelCostsALoadThatReportAlone) {
  write_file(config(), configuration({{.name = "roof-a", .source = ""}}));
  auto all = lines("roof-a");
  const auto load = [&](const char* name) {
    write_file(folder_ / name, joined(all, 0, all.size()));
    std::filesystem::remove(database());
    return run_json({roundeld, "load", "--config", config().string(), "--feed", "roof-a", "--json",
                     (folder_ / name).string()});
  };
  const Json good = load("good");
  const auto bad = std::find_if(all.begin(), all.end(), [](const std::string& line) {
    return line.find("\"signal_dbfs\":") != line.npos;
  });
  ASSERT_NE(bad, all.end());
  *bad = std::regex_replace(*bad, std::regex("\"signal_dbfs\":[-0-9.]+"), "\"signal_dbfs\":1e300");
  const Json one_bad = load("one bad");
  EXPECT_EQ(one_bad["reports"]["rejected"]["bad_signal"], 1);
  EXPECT_EQ(one_bad["flights"], good["flights"]);
  EXPECT_NEAR(one_bad["cells"].get<double>(), good["cells"].get<double>(), 1);
}

TEST_F(Whole, ALoadThatLosesRowsSaysSoAndFails) {
  write_file(config(), configuration({{.name = "roof-a", .source = ""}}));
  write_file(folder_ / "nothing", "");
  const std::string load = roundeld + " load --config " + config().string() + " --feed roof-a ";
  run_json({"/bin/sh", "-c", load + "--json " + (folder_ / "nothing").string()});
  sqlite3* other = nullptr;
  ASSERT_EQ(sqlite3_open(database().c_str(), &other), SQLITE_OK);
  EXPECT_EQ(sqlite3_exec(other,
                         "CREATE TRIGGER refuse BEFORE INSERT ON cell WHEN NEW.id % 100 = 0"
                         " BEGIN SELECT raise(ABORT, 'not this one'); END",
                         nullptr, nullptr, nullptr),
            SQLITE_OK);
  sqlite3_close(other);
  Process process({"/bin/sh", "-c", load + (folder_ / "roof-a.ndjson").string()},
                  folder_ / "load.log");
  EXPECT_EQ(process.wait(), 1);
  EXPECT_NE(process.log().find("not this one"), std::string::npos) << process.log();
  const Json reports = status()["reports"];
  EXPECT_GT(reports["rejected"]["refused"], 0);
  EXPECT_GT(reports["stored"], reports["rejected"]["refused"]) << "the rest is stored";
  EXPECT_EQ(unaccounted(reports), 0) << reports;
}

// The second half, recorded by another run, goes on in the flights of the first.
TEST_F(Whole, HashedAddressesTellTheSameFlightsApart) {
  const auto halves = lines("roof-a");
  const std::size_t n = halves.size();
  write_file(folder_ / "first", joined(halves, 0, n / 2));
  write_file(folder_ / "second", joined(halves, n / 2, n));
  const auto record = [&](std::string_view more_of_store) {
    std::filesystem::remove(database());
    write_file(config(), configuration({{.name = "roof-a", .source = ""}}, 0.5, more_of_store));
    for (const char* half : {"first", "second"})
      run_json({roundeld, "load", "--config", config().string(), "--feed", "roof-a", "--json",
                (folder_ / half).string()});
    return status();
  };
  const Json plain = record("");
  EXPECT_FALSE(std::filesystem::exists(folder_ / "roundel.db.key"));
  const Json hashed = record("addresses = \"hashed\"");
  for (const char* key : {"cells", "silent_cells", "flights", "aircraft"})
    EXPECT_EQ(hashed[key], plain[key]) << key;
  const Json reach = run_json({roundel, "reach", database(), "--json"});
  for (const Json& sector : reach["sectors"])
    if (sector["address"].is_string()) {
      EXPECT_EQ(sector["address"].get<std::string>().substr(0, 8), "00000000") << sector;
    }
  EXPECT_TRUE(std::filesystem::exists(folder_ / "roundel.db.key"));
}

TEST_F(Whole, AKillLosesNothingThatWasWrittenAndNeverTheDatabase) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}));
  const auto all = lines("roof-a");
  const std::size_t half = all.size() / 2;
  std::int64_t kept = 0;
  {
    Daemon daemon(config());
    EXPECT_TRUE(source.send(joined(all, 0, half)));
    std::int64_t written = 0;
    EXPECT_TRUE(eventually([&] {
      written = status()["reports"]["received"];
      return written + static_cast<std::int64_t>(Daemon::most_held) >=
             static_cast<std::int64_t>(half);
    }));
    EXPECT_TRUE(source.send(joined(all, half, half + half / 2)));
    EXPECT_TRUE(eventually([&] { return daemon.received("roof-a") > static_cast<double>(half); }));
    daemon.process().signal(SIGKILL);
    EXPECT_EQ(daemon.process().wait(), 128 + SIGKILL);
    EXPECT_EQ(integrity(database()), "ok");
    kept = status()["reports"]["received"];
    EXPECT_GE(kept, written);
    EXPECT_EQ(unaccounted(status()["reports"]), 0);
  }
  // It takes up its work again. Whatever is sent a second time adds no second cell.
  source.hang_up();
  Daemon daemon(config());
  EXPECT_TRUE(source.send(joined(all, 0, all.size())));
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
  EXPECT_EQ(daemon.stop(), 0) << daemon.process().log();
  EXPECT_EQ(status()["reports"]["received"], kept + static_cast<std::int64_t>(all.size()));
  EXPECT_EQ(unaccounted(status()["reports"]), 0);
  EXPECT_EQ(integrity(database()), "ok");
}

TEST_F(Whole, AStoreThatLagsHoldsTheSenderBackAndLosesNothing) {
  Source source;
  write_file(config(), configuration({{.name = "roof-a", .source = connect(source)}}, 0.1,
                                     "queue_reports = 500"));
  Daemon daemon(config());
  const std::string text = file("roof-a");
  const std::size_t n_lines = lines("roof-a").size();
  ASSERT_TRUE(eventually([&] { return std::filesystem::exists(database()); }));

  auto lock = std::make_unique<WriteLock>(database());
  std::thread sender([&] { EXPECT_TRUE(source.send(text)); });
  // Nothing is taken any more: the queue is full, and what is sent stays in the kernel.
  EXPECT_TRUE(eventually([&] { return daemon.queued("roof-a") >= 100; }));
  std::size_t sent = 0;
  EXPECT_TRUE(eventually([&] { return std::exchange(sent, source.bytes_sent()) == sent; }));
  EXPECT_LT(sent, text.size()) << "the sender was not held back";
  lock.reset();
  sender.join();
  source.hang_up();
  EXPECT_TRUE(eventually([&] { return daemon.has_read_to_the_end("roof-a"); }));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(status()["reports"]["received"], n_lines);
  EXPECT_EQ(unaccounted(status()["reports"]), 0);
}

}  // namespace
}  // namespace roundel::end_to_end
