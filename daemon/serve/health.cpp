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

std::string in_words(double span_s) {
  return span_s < 120 ? fmt::format("{:.0f} s", span_s) : fmt::format("{:.0f} min", span_s / 60);
}

void judge(const FeedLive& feed, const Live& live, std::vector<Reason>& reasons) {
  const auto add = [&](std::string_view code, std::string_view words, double since_s) {
    reasons.push_back({code, feed.name, fmt::format("feed {} {}", feed.name, words), since_s});
  };
  switch (feed.state) {
    case FeedState::connected:
    case FeedState::listening:
      break;
    case FeedState::connecting:
      if (live.now_s - feed.state_since_s > unreachable_after_s)
        add("feed_unreachable", "cannot be connected to", feed.state_since_s);
      break;
    case FeedState::stalled:
      add("feed_stalled", "is connected and silent", feed.state_since_s);
      break;
    case FeedState::stopped:
      return add("feed_stopped", "is not being read", feed.state_since_s);
  }
  const double heard_s = std::max(feed.last_report_s, live.started_s);
  if (live.silent_after_s > 0 && live.now_s - heard_s > live.silent_after_s)
    add("feed_silent", fmt::format("has brought no report for {}", in_words(live.silent_after_s)),
        heard_s);
}

}  // namespace

std::vector<Reason> failing(const Live& live) {
  std::vector<Reason> reasons;
  if (live.store_state != "ok")
    reasons.push_back(
        {"store_failing", "", "the database: " + live.store_state, live.last_commit_s});
  double newest_report_s = 0;
  for (const auto& feed : live.feeds) {
    judge(feed, live, reasons);
    newest_report_s = std::max(newest_report_s, feed.last_report_s);
  }
  const double written_s = std::max(live.last_commit_s, live.started_s);
  if (newest_report_s - written_s > late_after_s)
    reasons.push_back({"store_late", "", "reports come, and nothing is written", written_s});
  return reasons;
}

Answer health(const Live& live) {
  Json list = Json::array();
  for (const Reason& reason : failing(live)) {
    list.push_back({{"code", reason.code},
                    {"text", reason.text},
                    {"since", reason.since_s > 0 ? Json(format_time(reason.since_s)) : Json()}});
    if (!reason.feed.empty()) list.back()["feed"] = reason.feed;
  }
  const bool is_well = list.empty();
  const Json body{{"status", is_well ? "ok" : "failing"}, {"reasons", std::move(list)}};
  return {.status = is_well ? 200 : 503,
          .body = body.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n",
          .cache_control = "no-store"};
}

std::vector<Reason> lost_sensitivity(const std::vector<Sensitivity>& now, double loss_db) {
  std::vector<Reason> reasons;
  for (const Sensitivity& of : now) {
    if (of.change_db > -loss_db || of.high_db >= 0) continue;
    reasons.push_back(
        {"sensitivity_down", of.feed,
         fmt::format(
             "{} on feed {} heard {:.1f} dB less in the last day than in the {} days before "
             "({:.1f} to {:.1f} dB, 95 %)",
             of.antenna, of.feed, -of.change_db, of.days, -of.high_db, -of.low_db),
         static_cast<double>(of.from_s)});
  }
  return reasons;
}

}  // namespace roundel::serve
