#include "daemon/serve/door.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "roundel/serve/assets.h"
#include "tests/serve/sample_live.h"

namespace roundel::serve {
namespace {

class DoorTest : public testing::Test {
 protected:
  static Request get(std::string_view target) {
    return {.method = "GET",
            .target = target,
            .n_hosts = 1,
            .host = "localhost:27410",
            .accept_encoding = {},
            .if_none_match = {}};
  }
  Decision decide(const Request& request) {
    return door_.decide(request, [this]() -> Standing { return {live_, counters_, 1000}; });
  }
  // The answer where no worker is needed.
  Answer answer(const Request& request) {
    const Decision decision = decide(request);
    const auto* ready = std::get_if<std::shared_ptr<const Rendered>>(&decision);
    return ready ? (*ready)->answer : Answer{.status = 0, .body = "no answer yet"};
  }
  static std::string detail(const Answer& answer) {
    return nlohmann::json::parse(answer.body).value("detail", "");
  }

  Live live_ = sample_live();
  Counters counters_;
  Door door_{{.names = {"roof.example"}, .now_s = [] { return 1764000000.0; }}};
};

TEST_F(DoorTest, EveryFileOfThePageIsFoundByItsPathOnly) {
  ASSERT_FALSE(assets().empty());
  for (const auto& asset : assets()) {
    const Answer found = answer(get(asset.path));
    EXPECT_EQ(found.status, 200) << asset.path;
    EXPECT_EQ(found.content_type, asset.content_type) << asset.path;
  }
  EXPECT_EQ(answer(get("/?antenna=spider&anything")).status, 200) << "the view's state is its own";
}

TEST_F(DoorTest, NoPathLeadsOutOfTheTable) {
  for (const char* path : {"/..", "/../etc/passwd", "/%2e%2e/etc/passwd", "//etc/passwd",
                           "/api/site/", "/api/site/../site", "/API/site", "/api/site%00", "/ "}) {
    EXPECT_EQ(answer(get(path)).status, 404) << path;
  }
}

TEST_F(DoorTest, ForeignHostsAreMisdirected) {
  Request request = get("/health");
  request.host = "attacker.example";
  EXPECT_EQ(answer(request).status, 421);
  EXPECT_EQ(
      detail(answer(request)),
      "this server does not answer for \"attacker.example\"; use the address of [web] listen in "
      "roundel.toml");
  request.host = "roof.example:27410";
  EXPECT_EQ(answer(request).status, 200);
  request.target = "http://attacker.example/health";
  EXPECT_EQ(answer(request).status, 421) << "the target's authority goes before the Host field";
}

TEST_F(DoorTest, ExactlyOneHostIsNeeded) {
  Request request = get("/health");
  request.n_hosts = 0;
  EXPECT_EQ(answer(request).status, 400);
  request.n_hosts = 2;
  EXPECT_EQ(answer(request).status, 400);
}

TEST_F(DoorTest, OtherMethodsAreToldTheRightOnes) {
  for (const char* path : {"/", "/health", "/api/site", "/api/live"}) {
    for (const char* method : {"POST", "PUT", "DELETE", "OPTIONS", "TRACE", "get"}) {
      Request request = get(path);
      request.method = method;
      const Answer refused = answer(request);
      EXPECT_EQ(refused.status, 405) << method << path;
      EXPECT_THAT(refused.headers, testing::ElementsAre(testing::Pair("Allow", "GET, HEAD")));
    }
  }
}

TEST_F(DoorTest, QueriesAreCheckedBeforeAnythingIsWorkedOut) {
  EXPECT_EQ(answer(get("/api/site?antenna=spider")).status, 400);
  EXPECT_EQ(detail(answer(get("/api/site?antenna=spider"))),
            "query: \"antenna\" is not known here; leave the query out");
  EXPECT_EQ(answer(get("/api/trials?antenna=%ff")).status, 400);
  EXPECT_EQ(answer(get("/health?verbose")).status, 400);
}

TEST_F(DoorTest, AnswersFromTheDatabaseAreKeptByPathAndQuery) {
  const auto key = [&](std::string_view target) {
    const Decision decision = decide(get(target));
    return std::get<Work>(decision).key;
  };
  EXPECT_EQ(key("/api/trials?antenna=a&mount=b"), key("/api/trials?mount=b&antenna=%61"));
  EXPECT_NE(key("/api/trials"), key("/api/site"));
  EXPECT_NE(key("/api/trials?antenna=a"), key("/api/trials?antenna=b"));
  EXPECT_NE(key("/api/hours"), key("/api/trials"));
}

TEST_F(DoorTest, WhatThePageDrawsFirstDoesNotWaitForWhatTakesLong) {
  const auto pace = [&](std::string_view target) {
    const Decision decision = decide(get(target));
    return std::get<Work>(decision).pace;
  };
  for (const auto* target : {"/api/site", "/api/trials"})
    EXPECT_EQ(pace(target), Pace::quick) << target;
  for (const auto* target : {"/api/expect", "/api/reach", "/api/field", "/api/hours"})
    EXPECT_EQ(pace(target), Pace::drawn) << target;
  for (const auto* target : {"/api/verdict", "/api/drift", "/api/cut?bearing_deg=0"})
    EXPECT_EQ(pace(target), Pace::slow) << target;
}

TEST_F(DoorTest, LiveEventsAreAStream) {
  EXPECT_TRUE(std::holds_alternative<Events>(decide(get("/api/live"))));
}

TEST_F(DoorTest, HealthIsJudgedFromTheLatestSnapshot) {
  EXPECT_EQ(answer(get("/health")).status, 200);
  live_.failing = {{"feed_silent", "roof", "feed roof has brought no report for 15 min", 0}};
  EXPECT_EQ(answer(get("/health")).status, 503);
}

}  // namespace
}  // namespace roundel::serve
