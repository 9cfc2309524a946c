// Handlers, as the table finds them, without a socket.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <string>

#include "daemon/serve/kept_verdicts.h"
#include "daemon/serve/routes.h"
#include "roundel/pattern/reach.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/reach.h"
#include "roundel/present/store_json.h"
#include "roundel/present/verdict.h"
#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

class Api : public testing::Test {
 protected:
  Api()
      : file_(sample_store(folder_)),
        store_(must(schema::Store::open(file_, schema::Store::Access::read))) {}

  Result<Answer> ask(std::string_view path, std::string_view query_text = "",
                     bool is_writable = false) {
    const Route* route = find_route(path);
    if (route == nullptr) return fail(Errc::not_found, "no such path", std::string(path));
    const Query query = must(Query::parse(query_text));
    const auto handler = std::get<FromStore>(route->handler).handler;
    return handler({.query = query,
                    .expect = expect_,
                    .is_writable = is_writable,
                    .most_cells = most_cells_,
                    .verdicts = &verdicts_,
                    .must_be_new = must_be_new_},
                   store_);
  }
  json ask_json(std::string_view path, std::string_view query = "") {
    const auto answer = must(ask(path, query));
    EXPECT_EQ(answer.status, 200);
    EXPECT_EQ(answer.content_type, "application/json");
    return json::parse(answer.body);
  }

  TemporaryFolder folder_;
  std::filesystem::path file_;
  schema::Store store_;
  site::ExpectSettings expect_;
  std::int64_t most_cells_ = 1'000'000;
  KeptVerdicts verdicts_;
  bool must_be_new_ = false;
};

TEST_F(Api, PathsAreInOrderAndUnlikeEachOther) {
  const auto table = routes();
  EXPECT_TRUE(std::ranges::is_sorted(table, std::ranges::less{}, &Route::path));
  std::set<std::string_view> seen;
  for (const auto& route : table) EXPECT_TRUE(seen.insert(route.path).second) << route.path;
  EXPECT_EQ(find_route("/api/sit"), nullptr);
  EXPECT_EQ(find_route("/api/site/"), nullptr);
  EXPECT_EQ(find_route("/api/../api/site"), nullptr);
}

TEST_F(Api, SiteTellsWhereAndWhatStands) {
  const json site = ask_json("/api/site");
  EXPECT_EQ(site["site"], (json{{"name", "Hill house"},
                                {"latitude_deg", 52.1},
                                {"longitude_deg", 19.4},
                                {"ground_m", 110},
                                {"antenna_m", 12},
                                {"surface_m", 100}}));
  EXPECT_EQ(site["antennas"], (json{"collinear", "spider"}));
  EXPECT_EQ(site["receivers"], json{"rx1"});
  EXPECT_EQ(site["mounts"], json{"gable"});
  EXPECT_EQ(site["feeds"], json{"roof"});
  EXPECT_EQ(site["writable"], false);
  EXPECT_EQ(json::parse(must(ask("/api/site", "", true)).body)["writable"], true);
}

TEST_F(Api, TrialsAreThoseOfTheCommandLine) {
  EXPECT_EQ(must(ask("/api/trials")).body, must(present::trials_json(store_, {})));
  const json all = ask_json("/api/trials");
  ASSERT_EQ(all["trials"].size(), 2u);
  EXPECT_EQ(all["trials"][0]["antenna"], "collinear");
  // date -u -d @1763978400; date -u -d @1764000000
  EXPECT_EQ(all["trials"][0]["start"], "2025-11-24T10:00:00Z");
  EXPECT_EQ(all["trials"][0]["stop"], "2025-11-24T16:00:00Z");
  EXPECT_EQ(all["trials"][0]["note"], "as built");
  EXPECT_EQ(all["trials"][1]["antenna"], "spider");
  EXPECT_TRUE(all["trials"][1]["stop"].is_null());
  ASSERT_EQ(all["notes"].size(), 1u);
  EXPECT_EQ(all["notes"][0]["text"], "reseated the connector");
  EXPECT_EQ(all["notes"][0]["trial"], all["trials"][1]["id"]);
}

// sample_store's last cells are five from 17:30:00 on, at 52.3 north, 19.8 east of a site at 52.1,
// 19.4: 35.3 km towards 50.7 degrees (plane triangle with 111.26 and 68.5 km a degree).
TEST_F(Api, SkyIsOfTheLastMinutesOfTheRecord) {
  const json sky = ask_json("/api/sky");
  EXPECT_EQ(sky["to"], "2025-11-24T17:30:50Z");
  ASSERT_EQ(sky["aircraft"].size(), 1u);
  EXPECT_EQ(sky["aircraft"][0]["address"], "4b1617");
  const json& track = sky["aircraft"][0]["track"];
  ASSERT_EQ(track.size(), 5u);
  EXPECT_EQ(track[0]["time"], "2025-11-24T17:30:00Z");
  EXPECT_NEAR(track[0]["range_km"].get<double>(), 35.3, 0.3);
  EXPECT_NEAR(track[0]["bearing_deg"].get<double>(), 50.7, 0.5);
  EXPECT_EQ(track[0]["heard"], 3);
  EXPECT_EQ(track[0]["expected"], 20);
  EXPECT_EQ(sky["farthest"]["address"], "4b1617");
}

TEST_F(Api, TrialsAreSelected) {
  const json collinear = ask_json("/api/trials", "antenna=collinear");
  ASSERT_EQ(collinear["trials"].size(), 1u);
  EXPECT_EQ(collinear["trials"][0]["antenna"], "collinear");
  EXPECT_TRUE(collinear["notes"].empty()) << "the note is of the other trial";
}

TEST_F(Api, NamesThatDoNotExistAreNotFound) {
  for (const char* path : {"/api/trials", "/api/hours"}) {
    const auto answer = ask(path, "antenna=none-such");
    ASSERT_FALSE(answer) << path;
    EXPECT_EQ(http_status(answer.error().code), 404);
    EXPECT_THAT(answer.error().line(), testing::HasSubstr("collinear"));
  }
}

TEST_F(Api, StatusIsThatOfTheCommandLine) {
  EXPECT_EQ(must(ask("/api/status")).body, must(present::status_json(store_)));
  const json status = ask_json("/api/status");
  EXPECT_EQ(status["reports"],
            (json{{"received", 49}, {"stored", 45}, {"repeats", 0}, {"rejected", {{"stale", 4}}}}));
  EXPECT_EQ(status["cells"], 15);
  EXPECT_EQ(status["silent_cells"], 0);
  EXPECT_EQ(status["flights"], 2);
  EXPECT_EQ(status["aircraft"], 1);
  EXPECT_EQ(status["from"], "2025-11-24T16:00:00Z");
  EXPECT_GT(status["bytes"], 0);
  ASSERT_EQ(status["feeds"].size(), 1u);
  EXPECT_EQ(status["feeds"][0]["name"], "roof");
  EXPECT_EQ(status["feeds"][0]["reports"], status["reports"]);
  EXPECT_EQ(status["feeds"][0]["trial"],
            ask_json("/api/trials", "antenna=spider")["trials"][0]["id"]);
}

TEST_F(Api, HoursHoldWhatWasHeardInEach) {
  EXPECT_EQ(ask_json("/api/hours")["hours"],
            (json{{{"time", "2025-11-24T16:00:00Z"}, {"heard", 30}, {"expected", 200}},
                  {{"time", "2025-11-24T17:00:00Z"}, {"heard", 15}, {"expected", 100}}}));
  EXPECT_EQ(ask_json("/api/hours", "from=2025-11-24T17:00:00Z")["hours"].size(), 1u);
  EXPECT_TRUE(ask_json("/api/hours", "antenna=collinear")["hours"].empty());
}

TEST_F(Api, ReachIsThatOfTheAnalysis) {
  const auto which = must(read_selection("antenna=spider"));
  pattern::ReachOptions options;
  options.sector_deg = 10;
  const auto expected =
      json::parse(present::reach_json(must(pattern::reach(store_, which, options))));
  EXPECT_EQ(ask_json("/api/reach", "antenna=spider&sector_deg=10"), expected);
  EXPECT_EQ(expected["sectors"].size(), 36u) << "360 / 10";
  EXPECT_EQ(ask_json("/api/reach")["sectors"].size(), 72u) << "5 degrees unless asked otherwise";
}

TEST_F(Api, VerdictIsThatOfTheAnalysis) {
  const auto which = must(read_selection("antenna=spider"));
  const json answer = ask_json("/api/verdict", "antenna=spider");
  ASSERT_EQ(answer["trials"].size(), 1u);
  EXPECT_EQ(answer["trials"][0], ask_json("/api/trials", "antenna=spider")["trials"][0]["id"]);
  EXPECT_EQ(answer["verdict"], "undecided") << "two flights are too few";
  EXPECT_EQ(answer, json::parse(present::verdict_json(must(pattern::verdict(store_, which, 5, {})),
                                                      {answer["trials"][0].get<schema::Id>()})));
}

TEST_F(Api, WhatIsTooMuchIsAnsweredForTheNewestHoursAndSaysSo) {
  const json hours = ask_json("/api/hours", "antenna=spider")["hours"];
  ASSERT_EQ(hours.size(), 2u);
  EXPECT_FALSE(ask_json("/api/verdict", "antenna=spider").contains("only_from"));
  most_cells_ = 1;
  for (const char* path : {"/api/verdict", "/api/field", "/api/cut", "/api/drift"}) {
    const json newest = ask_json(path, "antenna=spider");
    EXPECT_EQ(newest["only_from"], hours[1]["time"]) << path;
  }
  const json field = ask_json("/api/field", "antenna=spider");
  EXPECT_EQ(field["bins"][0]["expected"], hours[1]["expected"]);
  EXPECT_FALSE(ask_json("/api/reach", "antenna=spider").contains("only_from"));
}

TEST_F(Api, ACutTakesWhatTheVerdictOfItsSelectionFound) {
  const auto keep = [&](std::string_view selection, double cutoff_deg) {
    pattern::JudgedSectors sectors(72);
    sectors[10].cutoff_deg = cutoff_deg;
    verdicts_.keep(must(KeptVerdicts::key_of(must(Query::parse(selection)), store_)),
                   std::move(sectors), KeptVerdicts::Clock::now());
  };
  keep("antenna=spider", 2.25);
  keep("antenna=collinear", 7.5);
  EXPECT_EQ(ask_json("/api/cut", "antenna=spider&bearing_deg=52")["cutoff_deg"], 2.25);
  EXPECT_EQ(ask_json("/api/cut", "antenna=spider&bearing_deg=57")["cutoff_deg"], nullptr);
  must_be_new_ = true;
  EXPECT_EQ(ask_json("/api/cut", "antenna=spider&bearing_deg=52")["cutoff_deg"], nullptr);
  must_be_new_ = false;
  ask_json("/api/verdict", "antenna=spider");  // found anew, and kept instead
  EXPECT_EQ(ask_json("/api/cut", "antenna=spider&bearing_deg=52")["cutoff_deg"], nullptr);
}

TEST_F(Api, WhatAVerdictFoundIsKeptForAnHourAndUntilTrialsChange) {
  const Query query = must(Query::parse("antenna=spider"));
  const auto now = KeptVerdicts::Clock::now();
  const std::string key = must(KeptVerdicts::key_of(query, store_));
  verdicts_.keep(key, pattern::JudgedSectors(72), now);
  EXPECT_TRUE(verdicts_.find(key, now + std::chrono::minutes(60)));
  EXPECT_FALSE(verdicts_.find(key, now + std::chrono::minutes(61)));
  for (int i = 0; i < 8; ++i) verdicts_.keep(std::to_string(i), {}, now);
  EXPECT_FALSE(verdicts_.find(key, now)) << "eight are kept";
  auto writer = must(schema::Store::open(file_, schema::Store::Access::write));
  must(writer.add_note({0, 1'772'323'200, {}, "rain set in"}));
  EXPECT_NE(must(KeptVerdicts::key_of(query, store_)), key);
}

TEST_F(Api, AVerdictOfTwoAntennasIsRefused) {
  const auto answer = ask("/api/verdict", "");
  ASSERT_FALSE(answer) << "collinear and spider have no pattern in common";
  EXPECT_EQ(http_status(answer.error().code), 400);
}

TEST_F(Api, SectorsThatDoNotDivideTheCircleAreRefused) {
  for (const char* path : {"/api/reach", "/api/verdict"}) {
    for (const char* width : {"7", "0", "180", "wide"}) {
      const auto answer = ask(path, std::string("antenna=spider&sector_deg=") + width);
      ASSERT_FALSE(answer) << path << width;
      EXPECT_EQ(http_status(answer.error().code), 400);
    }
  }
}

}  // namespace
}  // namespace roundel::serve
