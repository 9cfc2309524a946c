// What the bearer of the token may change, and who may not.
#include "daemon/serve/changes.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "daemon/serve/door.h"
#include "roundel/serve/server.h"
#include "tests/serve/client.h"
#include "tests/serve/sample_live.h"
#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

constexpr double now_s = sample_start_s + 10'000;

class Changes : public testing::Test {
 protected:
  Changes()
      : file_(sample_store(folder_)),
        store_(must(schema::Store::open(file_, schema::Store::Access::write))) {}

  TemporaryFolder folder_;
  std::filesystem::path file_;
  schema::Store store_;
};

TEST_F(Changes, ATrialStartsWithWhatIsSaidAndKeepsTheRest) {
  const Answer answer = must(start_trial(
      R"({"antenna": "collinear", "rotation_deg": 90, "at": "2025-11-24T18:30:00Z",
          "note": "back up"})",
      store_, now_s));
  EXPECT_EQ(answer.status, 201);
  const json trial = json::parse(answer.body);
  EXPECT_EQ(trial["feed"], "roof");
  EXPECT_EQ(trial["antenna"], "collinear");
  EXPECT_EQ(trial["receiver"], "rx1");
  EXPECT_EQ(trial["mount"], "gable");
  EXPECT_EQ(trial["rotation_deg"], 90);
  EXPECT_EQ(trial["start"], "2025-11-24T18:30:00Z");
  EXPECT_TRUE(trial["stop"].is_null());
  EXPECT_EQ(trial["note"], "back up");

  const auto trials = must(store_.trials());
  ASSERT_EQ(trials.size(), 3u);
  EXPECT_EQ(trials[1].stop_s, trials[2].start_s) << "the one that ran ends there";
  EXPECT_EQ(trials[2].id, trial["id"]);
}

TEST_F(Changes, ATrialStopsNowUnlessSaidOtherwise) {
  const json stopped = json::parse(must(stop_trial("{}", store_, now_s)).body);
  // date -u -d @1764010000
  EXPECT_EQ(stopped["stop"], "2025-11-24T18:46:40Z");
  const auto again = stop_trial(R"({"feed": "roof"})", store_, now_s);
  ASSERT_FALSE(again);
  EXPECT_EQ(http_status(again.error().code), 404) << "nothing runs any more";
}

TEST_F(Changes, ATimeMayBeSeconds) {
  const json stopped = json::parse(must(stop_trial(R"({"at": 1764005400})", store_, now_s)).body);
  EXPECT_EQ(stopped["stop"], "2025-11-24T17:30:00Z");
}

TEST_F(Changes, ANoteIsOfTheTrialOfItsTime) {
  const Answer answer = must(add_note(R"({"text": "new cable"})", store_, now_s));
  EXPECT_EQ(answer.status, 201);
  const json note = json::parse(answer.body);
  EXPECT_EQ(note["text"], "new cable");
  EXPECT_EQ(note["time"], "2025-11-24T18:46:40Z");
  EXPECT_EQ(note["trial"], must(store_.trials())[1].id);
  EXPECT_EQ(must(store_.notes()).back().id, note["id"]);
}

TEST_F(Changes, WhatMakesNoSenseIsNamedAndChangesNothing) {
  struct Row {
    const char* name;
    Result<Answer> (*change)(std::string_view, schema::Store&, double);
    std::string body;
    int status;
    const char* line;
  };
  const Row rows[] = {
      {"no JSON", start_trial, "antenna=spider", 400,
       "body: the body is not a JSON object; its members are feed, antenna, receiver, mount, "
       "rotation_deg, at, note"},
      {"a list", stop_trial, "[]", 400,
       "body: the body is not a JSON object; its members are feed, at"},
      {"empty", add_note, "", 400,
       "body: the body is not a JSON object; its members are text, at, trial"},
      {"deep", add_note, std::string(60'000, '['), 400,
       "body: the body is not a JSON object; its members are text, at, trial"},
      {"unknown member", stop_trial, R"({"when": 1})", 400,
       "body: \"when\" is not known here; known are feed, at"},
      {"number for a name", start_trial, R"({"antenna": 3})", 400, "antenna: is not text"},
      {"text for a number", start_trial, R"({"rotation_deg": "90"})", 400,
       "rotation_deg: is not a number"},
      {"object for a time", stop_trial, R"({"at": {}})", 400, "at: is not a time"},
      {"fraction of a trial", add_note, R"({"text": "x", "trial": 1.5})", 400,
       "trial: is not a trial's number"},
      {"time in words", stop_trial, R"({"at": "noon"})", 400,
       "at: \"noon\" is not a time; write Unix seconds or RFC 3339, like 2026-03-01T12:00:00Z"},
      {"unknown feed", stop_trial, R"({"feed": "barn"})", 404,
       "feed: there is no feed \"barn\"; the database knows: roof"},
  };
  for (const auto& row : rows) {
    SCOPED_TRACE(row.name);
    const auto refused = row.change(row.body, store_, now_s);
    ASSERT_FALSE(refused);
    EXPECT_EQ(http_status(refused.error().code), row.status);
    EXPECT_EQ(refused.error().line(), row.line);
  }
  for (const char* body : {R"({"text": ""})", R"({"text": "x", "trial": 99})"}) {
    EXPECT_FALSE(add_note(body, store_, now_s)) << body;
  }
  EXPECT_FALSE(start_trial(R"({"rotation_deg": 1e300})", store_, now_s));
  EXPECT_EQ(must(store_.trials()).size(), 2u);
  EXPECT_FALSE(must(store_.trials())[1].stop_s);
  EXPECT_EQ(must(store_.notes()).size(), 1u);
}

// --- Who may ---------------------------------------------------------------------------------

Request wanted() {
  return {.method = "POST",
          .target = "/api/trials/stop",
          .n_hosts = 1,
          .host = "localhost:27410",
          .authorization = "Bearer 0123456789abcdef",
          .content_type = "application/json",
          .body = "{}"};
}

// The status of the refusal; 0: the change is let through.
int refusal(const Request& request, std::string token = "0123456789abcdef") {
  const Door door({.names = {}, .token = std::move(token), .now_s = [] { return now_s; }});
  const Live live;
  const Counters counters;
  const Decision decision = door.decide(request, [&]() -> Standing {
    return {live, counters, {}};
  });
  if (const auto* work = std::get_if<Work>(&decision)) return work->change && !work->work ? 0 : -1;
  return std::get<std::shared_ptr<const Rendered>>(decision)->answer.status;
}

TEST(ChangeAllowed, TheTokenOpensTheDoor) {
  EXPECT_EQ(refusal(wanted()), 0);
  for (const char* path : {"/api/trials/start", "/api/trials/stop", "/api/notes"}) {
    Request request = wanted();
    request.target = path;
    EXPECT_EQ(refusal(request), 0) << path;
  }
}

TEST(ChangeAllowed, AnythingElseDoesNot) {
  struct Row {
    const char* name;
    void (*spoil)(Request&);
    int status;
  };
  const Row rows[] = {
      {"no token", [](Request& r) { r.authorization = ""; }, 401},
      {"another token", [](Request& r) { r.authorization = "Bearer 0123456789abcdeX"; }, 401},
      {"a longer token", [](Request& r) { r.authorization = "Bearer 0123456789abcdef0"; }, 401},
      {"the beginning of it", [](Request& r) { r.authorization = "Bearer 0123456789abcde"; }, 401},
      {"an empty one", [](Request& r) { r.authorization = "Bearer "; }, 401},
      {"another scheme", [](Request& r) { r.authorization = "Basic 0123456789abcdef"; }, 401},
      {"the token bare", [](Request& r) { r.authorization = "0123456789abcdef"; }, 401},
      {"from another page", [](Request& r) { r.origin = "http://attacker.example"; }, 403},
      {"from a page without origin", [](Request& r) { r.origin = "null"; }, 403},
      {"from another port", [](Request& r) { r.origin = "http://localhost:80"; }, 403},
      {"sent across sites", [](Request& r) { r.fetch_site = "cross-site"; }, 403},
      {"sent within a site", [](Request& r) { r.fetch_site = "same-site"; }, 403},
      {"as a form", [](Request& r) { r.content_type = "application/x-www-form-urlencoded"; }, 415},
      {"as text", [](Request& r) { r.content_type = "text/plain"; }, 415},
      {"without a type", [](Request& r) { r.content_type = ""; }, 415},
      {"by GET", [](Request& r) { r.method = "GET"; }, 405},
      {"by PUT", [](Request& r) { r.method = "PUT"; }, 405},
      {"with a query", [](Request& r) { r.target = "/api/trials/stop?feed=roof"; }, 400},
      {"for another host", [](Request& r) { r.host = "attacker.example"; }, 421},
  };
  for (const auto& row : rows) {
    Request request = wanted();
    row.spoil(request);
    EXPECT_EQ(refusal(request), row.status) << row.name;
  }
}

TEST(ChangeAllowed, OurOwnPageIsNotForeign) {
  Request request = wanted();
  request.origin = "http://localhost:27410";
  request.fetch_site = "same-origin";
  request.content_type = "application/json; charset=utf-8";
  EXPECT_EQ(refusal(request), 0);
  request.origin = "https://localhost:27410";  // behind a proxy that adds TLS
  EXPECT_EQ(refusal(request), 0);
}

TEST(ChangeAllowed, WithoutATokenNobodyMay) {
  EXPECT_EQ(refusal(wanted(), ""), 403);
  Request request = wanted();
  request.authorization = "Bearer ";
  EXPECT_EQ(refusal(request, ""), 403);
}

// --- Over a socket ---------------------------------------------------------------------------

TEST_F(Changes, AreSeenByTheNextReader) {
  const Server server = must(Server::start({.listen = {"127.0.0.1", 0},
                                            .store = file_,
                                            .live = [] { return sample_live(); },
                                            .token = "0123456789abcdef"}));
  Client client(server.port());
  EXPECT_EQ(json::parse(client.get("/api/site").body)["writable"], true);
  EXPECT_EQ(json::parse(client.get("/api/trials").body)["notes"].size(), 1u);
  const std::string body = R"({"text": "new cable"})";
  client.send(
      "POST /api/notes HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer 0123456789abcdef\r\n"
      "Content-Type: application/json\r\nExpect: 100-continue\r\nContent-Length: " +
      std::to_string(body.size()) + "\r\n\r\n");
  EXPECT_EQ(client.read_until("\r\n\r\n"), "HTTP/1.1 100 Continue\r\n\r\n");
  client.send(body);
  EXPECT_EQ(client.read_response().status, 201);
  const json notes = json::parse(client.get("/api/trials").body)["notes"];
  ASSERT_EQ(notes.size(), 2u);
  EXPECT_EQ(notes[1]["text"], "new cable");
}

TEST_F(Changes, MakeNoDatabaseWhereNoneIs) {
  const auto missing = folder_.path() / "missing.db";
  const Server server = must(Server::start({.listen = {"127.0.0.1", 0},
                                            .store = missing,
                                            .live = [] { return sample_live(); },
                                            .token = "0123456789abcdef"}));
  Client client(server.port());
  client.send(
      "POST /api/trials/stop HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer "
      "0123456789abcdef\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}");
  EXPECT_EQ(client.read_response().status, 503);
  EXPECT_FALSE(std::filesystem::exists(missing));
}

}  // namespace
}  // namespace roundel::serve
