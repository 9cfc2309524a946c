#include "daemon/serve/routes.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <nlohmann/json.hpp>

#include "daemon/serve/changes.h"
#include "daemon/serve/conclusions.h"
#include "daemon/serve/health.h"
#include "daemon/serve/metrics.h"
#include "daemon/serve/openapi.h"
#include "roundel/present/store_json.h"
#include "roundel/time.h"

namespace roundel::serve {
namespace {

using Json = nlohmann::ordered_json;

Answer json_answer(std::string text) { return {.body = std::move(text)}; }

Answer json_answer(const Json& value) {
  return json_answer(value.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n");
}

Result<Json> names(const Result<std::vector<schema::Named>>& list) {
  if (!list) return tl::unexpected(list.error());
  Json out = Json::array();
  for (const auto& entry : *list) out.push_back(entry.name);
  return out;
}

Result<Answer> site(const Ask& ask, const schema::Store& store) {
  const auto site = store.site();
  if (!site) return tl::unexpected(site.error());
  Json out{{"version", ROUNDEL_VERSION}, {"writable", ask.is_writable}, {"site", nullptr}};
  if (*site) {
    out["site"] = {{"name", (*site)->name},
                   {"latitude_deg", (*site)->latitude_deg},
                   {"longitude_deg", (*site)->longitude_deg},
                   {"ground_m", (*site)->ground_m},
                   {"antenna_m", (*site)->antenna_m},
                   {"surface_m", (*site)->surface_m}};
  }
  const std::array<std::pair<const char*, Result<Json>>, 4> lists{
      {{"antennas", names(store.antennas())},
       {"receivers", names(store.receivers())},
       {"mounts", names(store.mounts())},
       {"feeds", names(store.feeds())}}};
  for (const auto& [key, list] : lists) {
    if (!list) return tl::unexpected(list.error());
    out[key] = *list;
  }
  return json_answer(out);
}

Result<Answer> trials(const Ask& ask, const schema::Store& store) {
  const auto which = read_selection(ask.query);
  if (!which) return tl::unexpected(which.error());
  return present::trials_json(store, *which).map([](auto text) {
    return json_answer(std::move(text));
  });
}

Result<Answer> status(const Ask&, const schema::Store& store) {
  return present::status_json(store).map([](auto text) { return json_answer(std::move(text)); });
}

// Written by hand: of a year it is half a megabyte, after each commit another.
std::string hours_json(const std::vector<schema::Hour>& hours) {
  std::string out = R"({"hours":[)";
  constexpr std::int64_t day_s = 86400;
  std::int64_t day = -1;
  std::string date;  // and the T after it
  for (const schema::Hour& hour : hours) {
    if (hour.hour_s / day_s != day) {
      day = hour.hour_s / day_s;
      date = format_time(static_cast<double>(day * day_s)).substr(0, 11);
    }
    fmt::format_to(std::back_inserter(out),
                   R"({{"time":"{}{:02}:00:00Z","heard":{},"expected":{}}},)", date,
                   hour.hour_s % day_s / 3600, hour.heard, hour.expected);
  }
  if (!hours.empty()) out.pop_back();
  return out + "]}\n";
}

Result<Answer> hours(const Ask& ask, const schema::Store& store) {
  const auto which = read_selection(ask.query);
  if (!which) return tl::unexpected(which.error());
  const auto list = store.hours(*which);
  if (!list) return tl::unexpected(list.error());
  return json_answer(hours_json(*list));
}

Answer measure(const Standing& standing) {
  return {.content_type = std::string(metrics_type),
          .body = metrics(standing.live, standing.counters, standing.store_bytes),
          .cache_control = "no-store"};
}

Answer judge_health(const Standing& standing) { return health(standing.live); }

// The selection's keys, and these.
template <std::size_t n>
constexpr auto selection_and(const std::array<std::string_view, n>& more) {
  std::array<std::string_view, selection_keys.size() + n> keys{};
  std::ranges::copy(more, std::ranges::copy(selection_keys, keys.begin()).out);
  return keys;
}
constexpr auto selection_and_sector_keys =
    selection_and(std::array<std::string_view, 1>{"sector_deg"});
constexpr auto cut_keys =
    selection_and(std::array<std::string_view, 2>{"bearing_deg", "sector_deg"});

constexpr std::array<std::string_view, 3> sides_and_sector_keys{"a", "b", "sector_deg"};
constexpr std::array<std::string_view, 1> sector_keys{"sector_deg"};

constexpr std::array<Route, 18> table{{
    {"/api/compare", FromStore{Pace::slow, compare, true}, sides_and_sector_keys},
    {"/api/cut", FromStore{Pace::slow, cut, true}, cut_keys},
    {"/api/drift", FromStore{Pace::slow, drift, true}, selection_keys},
    {"/api/expect", FromStore{Pace::drawn, expect, true}, sector_keys},
    {"/api/field", FromStore{Pace::drawn, field, true}, selection_and_sector_keys},
    {"/api/hours", FromStore{Pace::drawn, hours}, selection_keys},
    {"/api/live", Events{}, {}},
    {"/api/notes", Change{add_note}, {}},
    {"/api/openapi.json", Fixed{"application/json", &openapi}, {}},
    {"/api/reach", FromStore{Pace::drawn, reach, true}, selection_and_sector_keys},
    {"/api/site", FromStore{Pace::quick, site}, {}},
    {"/api/status", FromStore{Pace::drawn, status}, {}},
    {"/api/trials", FromStore{Pace::quick, trials}, selection_keys},
    {"/api/trials/start", Change{start_trial}, {}},
    {"/api/trials/stop", Change{stop_trial}, {}},
    {"/api/verdict", FromStore{Pace::slow, verdict, true}, selection_and_sector_keys},
    {"/health", judge_health, {}},
    {"/metrics", measure, {}},
}};

}  // namespace

std::span<const Route> routes() { return table; }

const Route* find_route(std::string_view path) {
  const auto found = std::ranges::find(table, path, &Route::path);
  return found == table.end() ? nullptr : found;
}

}  // namespace roundel::serve
