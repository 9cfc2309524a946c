#include "daemon/serve/health.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "roundel/time.h"

namespace roundel::serve {
namespace {

using Json = nlohmann::ordered_json;

constexpr double unreachable_after_s = 60;  // a receiver's restart takes less
constexpr double late_after_s = 120;        // some dozen write intervals

Json reason(std::string_view code, std::string text, double since_s) {
  return {{"code", code},
          {"text", std::move(text)},
          {"since", since_s > 0 ? Json(format_time(since_s)) : Json(nullptr)}};
}

void judge(const FeedLive& feed, double now_s, Json& reasons) {
  const auto add = [&](std::string_view code, std::string_view words) {
    Json entry = reason(code, fmt::format("feed {} {}", feed.name, words), feed.state_since_s);
    entry["feed"] = feed.name;
    reasons.push_back(std::move(entry));
  };
  switch (feed.state) {
    case FeedState::connected:
    case FeedState::listening:
      return;
    case FeedState::connecting:
      if (now_s - feed.state_since_s > unreachable_after_s) {
        add("feed_unreachable", "cannot be connected to");
      }
      return;
    case FeedState::stalled:
      return add("feed_stalled", "is connected and silent");
    case FeedState::stopped:
      return add("feed_stopped", "is not being read");
  }
}

}  // namespace

Answer health(const Live& live) {
  Json reasons = Json::array();
  if (live.store_state != "ok") {
    reasons.push_back(
        reason("store_failing", "the database: " + live.store_state, live.last_commit_s));
  }
  double newest_report_s = 0;
  for (const auto& feed : live.feeds) {
    judge(feed, live.now_s, reasons);
    newest_report_s = std::max(newest_report_s, feed.last_report_s);
  }
  const double written_s = std::max(live.last_commit_s, live.started_s);
  if (newest_report_s - written_s > late_after_s) {
    reasons.push_back(reason("store_late", "reports come, and nothing is written", written_s));
  }
  const bool is_well = reasons.empty();
  const Json body{{"status", is_well ? "ok" : "failing"}, {"reasons", std::move(reasons)}};
  return {.status = is_well ? 200 : 503,
          .body = body.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n",
          .cache_control = "no-store"};
}

}  // namespace roundel::serve
