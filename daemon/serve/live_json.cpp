#include "daemon/serve/live_json.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace roundel::serve {
namespace {

using Json = nlohmann::ordered_json;

Json known(double value) { return value > 0 && std::isfinite(value) ? Json(value) : Json(nullptr); }

Json feed_json(const FeedLive& feed) {
  Json rejects = Json::object();
  for (const auto& [reason, count] : feed.rejects) rejects[reason] = count;
  return {{"name", feed.name},
          {"state", state_name(feed.state)},
          {"endpoint", feed.endpoint.empty() ? Json(nullptr) : Json(feed.endpoint)},
          {"state_since_s", known(feed.state_since_s)},
          {"last_report_s", known(feed.last_report_s)},
          {"feed_time_s", known(feed.feed_time_s)},
          {"clock_ahead_s", feed.clock_ahead_s},
          {"received", feed.received},
          {"stored", feed.stored},
          {"repeats", feed.repeats},
          {"rejected", feed.rejected},
          {"rejects", std::move(rejects)},
          {"aircraft", feed.aircraft},
          {"farthest_km", known(feed.farthest_km)},
          {"queued", feed.queued},
          {"queue_limit", feed.queue_limit}};
}

auto visible(const FeedLive& feed) {
  return std::tie(feed.name, feed.state, feed.endpoint, feed.state_since_s, feed.last_report_s,
                  feed.feed_time_s, feed.clock_ahead_s, feed.received, feed.stored, feed.repeats,
                  feed.rejected, feed.aircraft, feed.farthest_km, feed.queued, feed.queue_limit,
                  feed.rejects);
}

}  // namespace

std::string_view state_name(FeedState state) {
  switch (state) {
    case FeedState::connecting:
      return "connecting";
    case FeedState::connected:
      return "connected";
    case FeedState::stalled:
      return "stalled";
    case FeedState::listening:
      return "listening";
    case FeedState::stopped:
      return "stopped";
  }
  return "stopped";
}

std::string live_json(const Live& live) {
  Json feeds = Json::array();
  for (const auto& feed : live.feeds) feeds.push_back(feed_json(feed));
  const Json out{{"now_s", live.now_s},
                 {"started_s", live.started_s},
                 {"last_commit_s", known(live.last_commit_s)},
                 {"last_commit_took_s",
                  live.last_commit_s > 0 ? Json(live.last_commit_took_s) : Json(nullptr)},
                 {"store_state", live.store_state},
                 {"feeds", std::move(feeds)}};
  return out.dump(-1, ' ', false, Json::error_handler_t::replace);
}

bool is_same_but_for_now(const Live& a, const Live& b) {
  return std::tie(a.started_s, a.last_commit_s, a.last_commit_took_s, a.store_state) ==
             std::tie(b.started_s, b.last_commit_s, b.last_commit_took_s, b.store_state) &&
         std::ranges::equal(a.feeds, b.feeds,
                            [](const auto& x, const auto& y) { return visible(x) == visible(y); });
}

}  // namespace roundel::serve
