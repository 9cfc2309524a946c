#include "daemon/serve/health.h"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <string>

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

TEST(Health, NamesTheReasonByACode) {
  struct Row {
    const char* code;
    void (*change)(Live&);
    const char* text;
  };
  // 1764000001 is 2025-11-24T16:00:01Z by date -u -d @1764000001.
  const Row rows[] = {
      {"feed_stalled", [](Live& live) { live.feeds[0].state = FeedState::stalled; },
       "feed roof is connected and silent"},
      {"feed_silent",
       [](Live& live) {
         live.started_s -= 1000;
         live.silent_after_s = 50;
         live.feeds[0].last_report_s = 1764000001;
         live.feeds[1].last_report_s = live.now_s;
       },
       "feed roof has brought no report for 50 s"},
      {"feed_stopped", [](Live& live) { live.feeds[0].state = FeedState::stopped; },
       "feed roof is not being read"},
      {"feed_unreachable", [](Live& live) { live.feeds[0].state = FeedState::connecting; },
       "feed roof cannot be connected to"},
      {"store_failing", [](Live& live) { live.store_state = "the disk is full"; },
       "the database: the disk is full"},
      {"store_late",
       [](Live& live) {
         live.started_s -= 1000;
         live.last_commit_s = live.now_s - 300;
       },
       "reports come, and nothing is written"},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.code);
    Live live = sample_live();
    row.change(live);
    const Answer answer = health(live);
    EXPECT_EQ(answer.status, 503);
    const json body = json::parse(answer.body);
    EXPECT_EQ(body["status"], "failing");
    ASSERT_EQ(body["reasons"].size(), 1u) << body;
    EXPECT_EQ(body["reasons"][0]["code"], row.code);
    EXPECT_EQ(body["reasons"][0]["text"], row.text);
    if (std::string(row.code).starts_with("feed")) {
      EXPECT_EQ(body["reasons"][0]["feed"], "roof");
      EXPECT_EQ(body["reasons"][0]["since"], "2025-11-24T16:00:01Z");
    }
  }
}

TEST(Health, GivesAConnectionAMinute) {
  Live live = sample_live();
  live.feeds[0].state = FeedState::connecting;
  live.feeds[0].state_since_s = live.now_s - 59;
  EXPECT_EQ(health(live).status, 200);
  live.feeds[0].state_since_s = live.now_s - 61;
  EXPECT_EQ(health(live).status, 503);
}

TEST(Health, AQuietNightWithoutReportsIsNotLate) {
  Live live = sample_live();
  live.last_commit_s = live.now_s - 30'000;
  live.started_s = live.now_s - 50'000;
  live.feeds[0].last_report_s = live.last_commit_s;
  EXPECT_EQ(health(live).status, 200);
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
