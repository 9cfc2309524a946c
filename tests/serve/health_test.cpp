#include "daemon/serve/health.h"

#include <gtest/gtest.h>

#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "daemon/serve/live_json.h"
#include "tests/serve/sample_live.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

TEST(Health, IsOkWhileEverythingRecords) {
  const Answer answer = health(sample_live());
  EXPECT_EQ(answer.status, 200);
  EXPECT_EQ(json::parse(answer.body), (json{{"status", "ok"}, {"reasons", json::array()}}));
}

TEST(Health, NamesEachReason) {
  Live live = sample_live();
  // 1764000001 is 2025-11-24T16:00:01Z by date -u -d @1764000001.
  live.failing = {{"store_late", "", "reports come, and nothing is written", 0},
                  {"feed_silent", "roof", "feed roof has brought no report for 50 s", 1764000001}};
  const Answer answer = health(live);
  EXPECT_EQ(answer.status, 503);
  const json body = json::parse(answer.body);
  EXPECT_EQ(body["status"], "failing");
  ASSERT_EQ(body["reasons"].size(), 2u);
  EXPECT_EQ(body["reasons"][0], (json{{"code", "store_late"},
                                      {"text", "reports come, and nothing is written"},
                                      {"since", nullptr}}));
  EXPECT_EQ(body["reasons"][1], (json{{"code", "feed_silent"},
                                      {"text", "feed roof has brought no report for 50 s"},
                                      {"since", "2025-11-24T16:00:01Z"},
                                      {"feed", "roof"}}));
}

/// What is known of one feed and the store, second by second, and who is told what.
struct OverTime {
  OverTime() {
    live.started_s = live.now_s = start_s;
    live.feeds.resize(1);
    live.feeds[0].name = "roof";
    live.feeds[0].state_since_s = start_s;
  }
  void set(FeedState state) {
    FeedLive& feed = live.feeds[0];
    if (feed.state == state) return;
    feed.state = state;
    feed.state_since_s = live.now_s;
  }
  void report() { live.feeds[0].last_report_s = live.now_s; }
  void commit() { live.last_commit_s = live.now_s; }
  void be_well() {
    set(FeedState::connected);
    report();
    commit();
  }
  /// Goes on to that second; `at` says what is known at each. What alarms there were, and when.
  std::string alarms_until(int to_s, const std::function<void(int)>& at) {
    std::string out;
    for (; second < to_s; ++second) {
      live.now_s = start_s + second;
      at(second);
      reasons = health.look(live, limits, second);
      for (const Alarm& alarm : alarms(told, reasons))
        out += (alarm.is_failing ? "+" : "-") + std::string(alarm.reason.code) + "@" +
               std::to_string(second) + " ";
    }
    return out;
  }
  std::string code() const { return reasons.empty() ? "" : std::string(reasons[0].code); }

  static constexpr double start_s = 1764000000;
  int second = 0;
  Health health;
  Health::Limits limits{.silent_after_s = 900, .write_s = 5};
  Live live;
  std::vector<Reason> told, reasons;
};

TEST(Health, TellsOnceWhatLastsAndOnceThatItIsOver) {
  struct Row {
    const char* name;
    int to_s;
    void (*at)(OverTime&, int second);
    const char* alarms;
  };
  const Row rows[] = {
      {"a start: stopped, connecting, connected", 4000,
       [](OverTime& now, int s) {
         if (s == 0) return;
         if (s < 10) return now.set(FeedState::connecting);
         now.be_well();
       },
       ""},
      {"a receiver is restarted", 4000,
       [](OverTime& now, int s) {
         if (s >= 1000 && s < 1050) return now.set(FeedState::connecting);
         now.be_well();
       },
       ""},
      {"a receiver is off for ten minutes", 4000,
       [](OverTime& now, int s) {
         if (s >= 1000 && s < 1600) return now.set(FeedState::connecting);
         now.be_well();
       },
       "+feed_unreachable@1061 -feed_unreachable@1660 "},
      {"one that is up for 5 s every two minutes", 4000,
       [](OverTime& now, int s) {
         if (s < 1000 || s % 120 < 5) return now.be_well();
         now.set(FeedState::connecting);
       },
       "+feed_unreachable@1061 "},
      // Every stall_s, here 300 s, the connection is made anew.
      {"connected and silent all night", 40'000,
       [](OverTime& now, int s) {
         if (s < 1000) return now.be_well();
         now.set(s % 300 == 0   ? FeedState::stalled
                 : s % 300 == 1 ? FeedState::connecting
                                : FeedState::connected);
       },
       "+feed_silent@1900 "},
      {"silent, and back", 4000,
       [](OverTime& now, int s) {
         if (s < 1000 || s >= 3000) now.be_well();
       },
       "+feed_silent@1900 -feed_silent@3060 "},
      {"unreachable, then silent, and well under the code it was told by", 6000,
       [](OverTime& now, int s) {
         if (s < 1000 || s >= 5000) return now.be_well();
         now.set(s < 2000 ? FeedState::connecting : FeedState::connected);
       },
       "+feed_unreachable@1061 -feed_unreachable@5060 "},
      {"an address that cannot be listened on", 4000, [](OverTime&, int) {}, "+feed_stopped@61 "},
      {"a full disk", 4000,
       [](OverTime& now, int s) {
         now.live.store_state = s >= 1000 && s < 1100 ? "no space left" : "ok";
         now.be_well();
       },
       "+store_failing@1000 -store_failing@1160 "},
      {"a disk that is full now and then", 4000,
       [](OverTime& now, int s) {
         now.live.store_state = s >= 1000 && s < 2000 && s % 30 < 3 ? "no space left" : "ok";
         now.be_well();
       },
       "+store_failing@1020 -store_failing@2043 "},
      {"nothing is written for a quarter of an hour", 4000,
       [](OverTime& now, int s) {
         now.set(FeedState::connected);
         now.report();
         if (s < 1000 || s >= 2000) now.commit();
       },
       "+store_late@1126 -store_late@2060 "},
      {"a quiet quarter of an hour: no report, nothing to write", 4000,
       [](OverTime& now, int s) {
         if (s < 1000 || s >= 1890) now.be_well();
       },
       ""},
      // A board that has no clock of its own, when the network tells it the time.
      {"the computer's clock is set by a month", 4000,
       [](OverTime& now, int s) {
         if (s >= 1000) now.live.now_s += 30 * 86400;
         now.set(FeedState::connected);
         now.report();
         if (s < 1000 || s >= 1005) now.commit();
       },
       ""},
  };
  for (const Row& row : rows) {
    OverTime now;
    EXPECT_EQ(now.alarms_until(row.to_s, [&](int second) { row.at(now, second); }), row.alarms)
        << row.name;
  }
}

TEST(Health, SaysWhatIsWrongNowWhileItFails) {
  OverTime now;
  now.alarms_until(1, [](int) {});
  now.alarms_until(100, [&](int) { now.set(FeedState::connecting); });
  EXPECT_EQ(now.code(), "feed_unreachable");
  EXPECT_EQ(now.reasons[0].text, "feed roof cannot be connected to");
  EXPECT_EQ(now.reasons[0].since_s, OverTime::start_s + 1);
  now.alarms_until(150, [&](int) { now.set(FeedState::connected); });
  EXPECT_EQ(now.code(), "feed_unreachable") << "not settled yet";
  now.alarms_until(1000, [&](int) {});
  EXPECT_EQ(now.code(), "feed_silent") << "it is connected now";
  EXPECT_EQ(now.reasons[0].text, "feed roof has brought no report for 15 min");
  EXPECT_EQ(now.reasons[0].since_s, OverTime::start_s);
}

TEST(Health, AFeedThatIsConfiguredNoMoreIsMissedByNobody) {
  OverTime now;
  now.alarms_until(100, [](int) {});
  EXPECT_EQ(now.code(), "feed_stopped");
  EXPECT_EQ(now.reasons[0].text, "feed roof is not being read");
  now.alarms_until(101, [&](int) { now.live.feeds.clear(); });
  EXPECT_EQ(now.code(), "");
}

TEST(Health, WritingAsRarelyAsIsConfiguredIsNotLate) {
  OverTime now;
  now.limits.write_s = 3600;
  const auto rarely = [&](int second) {
    now.set(FeedState::connected);
    now.report();
    if (second % 3600 == 0) now.commit();
  };
  EXPECT_EQ(now.alarms_until(20'000, rarely), "");
}

TEST(Alarms, TellOfSensitivityBesideTheFeedsOwnState) {
  std::vector<Reason> told;
  const Reason silent{"feed_silent", "roof", "", 0}, weak{"sensitivity_down", "roof", "", 0};
  EXPECT_EQ(alarms(told, {silent, weak}).size(), 2u);
  const auto after = alarms(told, {silent});
  ASSERT_EQ(after.size(), 1u);
  EXPECT_FALSE(after[0].is_failing);
  EXPECT_EQ(after[0].reason.code, "sensitivity_down");
}

TEST(LiveJson, HoldsEveryMemberUnderItsName) {
  const json body = json::parse(live_json(sample_live()));
  EXPECT_EQ(body["now_s"], 1764000100);
  EXPECT_EQ(body["store_state"], "ok");
  const json& roof = body["feeds"][0];
  EXPECT_EQ(roof["state"], "connected");
  EXPECT_EQ(roof["rejects"], (json{{"no_altitude", 30}, {"stale", 10}}));
  EXPECT_EQ(roof["farthest_km"], 301.5);
  EXPECT_EQ(roof["queue_limit"], 20000);
  const json& shed = body["feeds"][1];
  EXPECT_TRUE(shed["last_report_s"].is_null()) << "not yet known is null, never zero";
  EXPECT_TRUE(shed["farthest_km"].is_null());
  EXPECT_EQ(live_json(sample_live()).find('\n'), std::string::npos)
      << "an event's data is one line";
}

TEST(LiveJson, TheTimeAloneIsNoNews) {
  Live later = sample_live();
  later.now_s += 5;
  EXPECT_TRUE(is_same_but_for_now(sample_live(), later));
  struct Row {
    const char* name;
    void (*change)(Live&);
  };
  const Row rows[] = {
      {"a report", [](Live& live) { ++live.feeds[0].received; }},
      {"a rejected one", [](Live& live) { ++live.feeds[0].rejects[1].second; }},
      {"an aircraft gone", [](Live& live) { --live.feeds[0].aircraft; }},
      {"a state", [](Live& live) { live.feeds[1].state = FeedState::connected; }},
      {"the database", [](Live& live) { live.store_state = "the disk is full"; }},
      {"a write", [](Live& live) { live.last_commit_s += 5; }},
      {"a feed gone", [](Live& live) { live.feeds.pop_back(); }},
      {"the queue", [](Live& live) { live.feeds[0].queued = 0; }},
  };
  for (const auto& row : rows) {
    Live changed = sample_live();
    row.change(changed);
    EXPECT_FALSE(is_same_but_for_now(sample_live(), changed)) << row.name;
  }
}

TEST(LostSensitivity, IsTheMoreThanChanceAndTheAskedForOne) {
  const std::vector<Sensitivity> now{{"roof", "collinear", -1.25, -1.75, -0.75, 12, 1763900000},
                                     {"shed", "spider", -1.5, -3.5, 0.5, 5, 1763900000},
                                     {"barn", "whip", 1.5, 1.0, 2.0, 20, 1763900000}};
  EXPECT_TRUE(lost_sensitivity(now, 1.5).empty()) << "the spider's may be chance";
  const auto lost = lost_sensitivity(now, 1);
  ASSERT_EQ(lost.size(), 1u);
  EXPECT_EQ(lost[0].code, "sensitivity_down");
  EXPECT_EQ(lost[0].feed, "roof");
  EXPECT_EQ(lost[0].text,
            "collinear on feed roof heard 1.2 dB less in the last day than in the 12 days before "
            "(0.8 to 1.8 dB, 95 %)");
}

}  // namespace
}  // namespace roundel::serve
