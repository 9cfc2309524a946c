// The API's description, daemon/serve/openapi.json, is held against the table of paths and against
// real answers, by a validator of the part of JSON Schema (2020-12) that it uses.
#include "daemon/serve/openapi.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <string_view>

#include "daemon/serve/changes.h"
#include "daemon/serve/health.h"
#include "daemon/serve/live_json.h"
#include "daemon/serve/routes.h"
#include "roundel/time.h"
#include "tests/serve/sample_live.h"
#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

using nlohmann::json;

const json& description() {
  static const json parsed = json::parse(openapi);
  return parsed;
}

// Keywords that this validator knows; another one would pass unseen, so it is a failure.
const std::set<std::string> known_keywords{
    "$ref",   "type",        "properties",          "required", "items", "enum", "oneOf", "minimum",
    "format", "description", "additionalProperties"};

class Validator {
 public:
  /// Empty, or where and how the value does not fit.
  static std::string check(const json& value, const json& schema, const std::string& at = "") {
    if (schema.is_boolean()) return schema ? "" : at + ": nothing may stand here";
    for (const auto& [keyword, rest] : schema.items()) {
      if (!known_keywords.contains(keyword)) return at + ": unknown keyword " + keyword;
    }
    if (schema.contains("$ref")) {
      const json::json_pointer pointer(schema["$ref"].get<std::string>().substr(1));
      return check(value, description().at(pointer), at);
    }
    if (schema.contains("type") && !is_of(value, schema["type"])) {
      return at + ": " + value.dump() + " is not " + schema["type"].dump();
    }
    if (schema.contains("enum") &&
        std::ranges::find(schema["enum"], value) == schema["enum"].end()) {
      return at + ": " + value.dump() + " is none of " + schema["enum"].dump();
    }
    if (schema.contains("oneOf")) {
      const auto n = std::ranges::count_if(
          schema["oneOf"], [&](const json& each) { return check(value, each, at).empty(); });
      if (n != 1) return at + ": fits " + std::to_string(n) + " of oneOf";
    }
    if (schema.contains("minimum") && value.is_number() && value < schema["minimum"]) {
      return at + ": " + value.dump() + " is too small";
    }
    if (schema.value("format", "") == "date-time" && value.is_string() &&
        !parse_time(value.get<std::string>())) {
      return at + ": " + value.dump() + " is no time";
    }
    if (value.is_array() && schema.contains("items")) {
      for (std::size_t i = 0; i < value.size(); ++i) {
        auto no = check(value[i], schema["items"], at + "/" + std::to_string(i));
        if (!no.empty()) return no;
      }
    }
    return value.is_object() ? check_object(value, schema, at) : "";
  }

 private:
  static bool is_of(const json& value, const json& type) {
    if (type.is_array()) {
      return std::ranges::any_of(type, [&](const json& each) { return is_of(value, each); });
    }
    return (type == "object" && value.is_object()) || (type == "array" && value.is_array()) ||
           (type == "string" && value.is_string()) || (type == "number" && value.is_number()) ||
           (type == "integer" && value.is_number_integer()) ||
           (type == "boolean" && value.is_boolean()) || (type == "null" && value.is_null());
  }

  static std::string check_object(const json& value, const json& schema, const std::string& at) {
    for (const json& key : schema.value("required", json::array())) {
      if (!value.contains(key)) return at + ": lacks " + key.get<std::string>();
    }
    const json properties = schema.value("properties", json::object());
    for (const auto& [key, member] : value.items()) {
      const json others = schema.value("additionalProperties", json(true));
      auto no = check(member, properties.contains(key) ? properties[key] : others, at + "/" + key);
      if (!no.empty()) return no;
    }
    return "";
  }
};

std::string method_of(const Route& route) {
  return std::holds_alternative<Change>(route.handler) ? "post" : "get";
}

TEST(OpenApi, DescribesEveryPathAndNoOther) {
  EXPECT_EQ(description()["openapi"], "3.1.0");
  std::set<std::string> described, served;
  for (const auto& [path, item] : description()["paths"].items()) {
    for (const auto& [method, operation] : item.items()) {
      described.insert(method + " " + path);
      EXPECT_FALSE(operation["summary"].get<std::string>().empty());
    }
  }
  for (const auto& route : routes()) {
    served.insert(method_of(route) + " " + std::string(route.path));
  }
  EXPECT_EQ(described, served);
}

TEST(OpenApi, DescribesEveryKeyOfAQueryAndNoOther) {
  for (const auto& route : routes()) {
    SCOPED_TRACE(route.path);
    std::set<std::string> described;
    const json operation = description()["paths"][std::string(route.path)][method_of(route)];
    for (json parameter : operation.value("parameters", json::array())) {
      if (parameter.contains("$ref")) {
        parameter =
            description().at(json::json_pointer(parameter["$ref"].get<std::string>().substr(1)));
      }
      EXPECT_EQ(parameter["in"], "query");
      described.insert(parameter["name"].get<std::string>());
    }
    EXPECT_EQ(described, std::set<std::string>(route.keys.begin(), route.keys.end()));
  }
}

TEST(OpenApi, TheValidatorSeesWhatDoesNotFit) {
  struct Row {
    const char* name;
    const char* value;
    const char* schema;
    bool fits;
  };
  const Row rows[] = {
      {"type", "1", R"({"type": "string"})", false},
      {"one of types", "null", R"({"type": ["string", "null"]})", true},
      {"whole number", "1.5", R"({"type": "integer"})", false},
      {"missing", "{}", R"({"type": "object", "required": ["a"]})", false},
      {"too much", R"({"a": 1})", R"({"properties": {}, "additionalProperties": false})", false},
      {"others of a kind", R"({"a": "x"})", R"({"additionalProperties": {"type": "integer"}})",
       false},
      {"in a list", R"([1, "x"])", R"({"items": {"type": "integer"}})", false},
      {"below", "-1", R"({"minimum": 0})", false},
      {"not listed", R"("c")", R"({"enum": ["a", "b"]})", false},
      {"time", R"("yesterday")", R"({"format": "date-time"})", false},
      {"two alternatives fit", "1", R"({"oneOf": [{"type": "integer"}, {"type": "number"}]})",
       false},
      {"reference", R"({"title": "x", "status": 1, "detail": "y"})",
       R"({"$ref": "#/components/schemas/Problem"})", true},
      {"unknown keyword", "1", R"({"maximum": 3})", false},
  };
  for (const auto& row : rows) {
    EXPECT_EQ(Validator::check(json::parse(row.value), json::parse(row.schema)).empty(), row.fits)
        << row.name;
  }
}

class OpenApiAnswers : public testing::Test {
 protected:
  static json schema(const std::string& path, const std::string& method, int status,
                     const std::string& media = "application/json") {
    return description()["paths"][path][method]["responses"][std::to_string(status)]["content"]
                        [media]["schema"];
  }
  TemporaryFolder folder_;
};

TEST_F(OpenApiAnswers, FitTheirSchemas) {
  const auto full = sample_store(folder_);
  // Before the first report and the first trial everything may be absent.
  const auto empty = folder_.path() / "empty.db";
  must(schema::Store::open(empty, schema::Store::Access::write));
  for (const auto& file : {full, empty}) {
    const auto store = must(schema::Store::open(file, schema::Store::Access::read));
    for (const auto& route : routes()) {
      const auto* read = std::get_if<FromStore>(&route.handler);
      if (!read) continue;
      SCOPED_TRACE(route.path);
      // A verdict is about one antenna; nothing to tell yet is a problem of its own kind.
      const bool selects = std::ranges::find(route.keys, "antenna") != route.keys.end();
      const bool compares = std::ranges::find(route.keys, "b") != route.keys.end();
      const Query query = must(Query::parse(compares ? "a=antenna=spider,to=2025-11-24T17:00:00Z&"
                                                       "b=antenna=spider,from=2025-11-24T17:00:00Z"
                                            : selects && file == full ? "antenna=spider"
                                                                      : ""));
      const site::ExpectSettings usual;
      const auto answer = read->handler({query, usual}, store);
      if (file == empty && !answer) {
        EXPECT_EQ(http_status(answer.error().code), 404) << answer.error().line();
        continue;
      }
      ASSERT_TRUE(answer) << answer.error().line();
      EXPECT_EQ(
          Validator::check(json::parse(answer->body), schema(std::string(route.path), "get", 200)),
          "");
    }
  }
}

TEST_F(OpenApiAnswers, ChangesFitTheirs) {
  auto store = must(schema::Store::open(sample_store(folder_), schema::Store::Access::write));
  const double now_s = sample_start_s + 10'000;
  EXPECT_EQ(Validator::check(json::parse(must(add_note(R"({"text": "x"})", store, now_s)).body),
                             schema("/api/notes", "post", 201)),
            "");
  EXPECT_EQ(Validator::check(json::parse(must(stop_trial("{}", store, now_s)).body),
                             schema("/api/trials/stop", "post", 200)),
            "");
  EXPECT_EQ(Validator::check(json::parse(must(start_trial("{}", store, now_s + 1)).body),
                             schema("/api/trials/start", "post", 201)),
            "");
}

TEST_F(OpenApiAnswers, ErrorsFitTheirs) {
  EXPECT_EQ(Validator::check(json::parse(problem(404, "x").body),
                             schema("/api/trials", "get", 404, "application/problem+json")),
            "");
}

TEST_F(OpenApiAnswers, HealthAndLiveFitTheirs) {
  Live live = sample_live();
  EXPECT_EQ(Validator::check(json::parse(health(live).body), schema("/health", "get", 200)), "");
  const json live_schema = description()["components"]["schemas"]["Live"];
  EXPECT_EQ(Validator::check(json::parse(live_json(live)), live_schema), "");
  EXPECT_EQ(Validator::check(json::parse(live_json(Live{})), live_schema), "");
  live.failing = {
      {"store_failing", "", "the database: the disk is full", 0},
      {"feed_silent", "roof", "feed roof has brought no report for 15 min", 1764000001}};
  EXPECT_EQ(Validator::check(json::parse(health(live).body), schema("/health", "get", 503)), "");
}

}  // namespace
}  // namespace roundel::serve
