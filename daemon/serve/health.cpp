#include "daemon/serve/health.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <utility>

#include "roundel/time.h"

namespace roundel::serve {
namespace {

using Json = nlohmann::ordered_json;

constexpr double reached_within_s = 60;   // a receiver's restart takes less
constexpr double written_within_s = 120;  // beyond write_s: a worn card takes long over a commit
constexpr double settled_after_s = 60;

std::string in_words(double span_s) {
  return span_s < 120 ? fmt::format("{:.0f} s", span_s) : fmt::format("{:.0f} min", span_s / 60);
}

// What a reason is about: one thing fails under one reason at a time.
auto thing(const Reason& reason) {
  return std::pair(reason.code.substr(0, reason.code.find('_')), std::string_view(reason.feed));
}

const Reason* find(const std::vector<Reason>& list, const Reason& one) {
  const auto found = std::ranges::find(list, thing(one), thing);
  return found == list.end() ? nullptr : &*found;
}

}  // namespace

bool Health::Seen::changes(double now_s, double now) {
  if (value_s == now_s) return false;
  *this = {now_s, now};
  return true;
}

void Health::Thing::judge(std::optional<Reason> symptom, double settled_s, double now) {
  if (symptom) {
    failing = std::move(symptom);
    well_at.reset();
  } else if (failing) {
    if (!well_at) well_at = now;
    if (now - *well_at >= settled_s) *this = {};
  }
}

Health::Feed& Health::feed(const FeedLive& live, double now) {
  const auto [at, is_new] = feeds_.try_emplace(live.name);
  Feed& feed = at->second;
  if (is_new) feed.state.at = feed.report.at = now;
  feed.state.changes(live.state_since_s, now);
  feed.report.changes(live.last_report_s, now);
  return feed;
}

void Health::judge_store(const Live& live, const Limits& limits, double now) {
  double newest_report_s = 0;
  for (const FeedLive& feed : live.feeds)
    newest_report_s = std::max(newest_report_s, feed.last_report_s);
  if (commit_.changes(live.last_commit_s, now)) unwritten_at_.reset();
  // One look may see a report and the commit after it.
  const bool is_unwritten = newest_report_s > live.last_commit_s;
  if (report_.changes(newest_report_s, now) && is_unwritten && !unwritten_at_) unwritten_at_ = now;
  std::optional<Reason> symptom;
  if (live.store_state != "ok")
    symptom = {"store_failing", "", "the database: " + live.store_state, live.last_commit_s};
  else if (unwritten_at_ && now - *unwritten_at_ > written_within_s + limits.write_s)
    symptom = {"store_late", "", "reports come, and nothing is written", live.last_commit_s};
  store_.judge(std::move(symptom), settled_after_s, now);
}

std::vector<Reason> Health::look(const Live& live, const Limits& limits, double steady_s) {
  std::vector<Reason> out;
  judge_store(live, limits, steady_s);
  if (store_.failing) out.push_back(*store_.failing);
  std::erase_if(feeds_, [&](const auto& known) {
    return std::ranges::find(live.feeds, known.first, &FeedLive::name) == live.feeds.end();
  });
  for (const FeedLive& one : live.feeds) {
    Feed& now = feed(one, steady_s);
    const auto symptom = [&](std::string_view code, std::string_view words, double since_s) {
      return Reason{code, one.name, fmt::format("feed {} {}", one.name, words), since_s};
    };
    const bool is_cut = one.state == FeedState::connecting || one.state == FeedState::stopped;
    const bool is_long_so = steady_s - now.state.at > reached_within_s;
    std::optional<Reason> found;
    if (one.state == FeedState::connecting && is_long_so)
      found = symptom("feed_unreachable", "cannot be connected to", one.state_since_s);
    else if (one.state == FeedState::stopped && is_long_so)
      found = symptom("feed_stopped", "is not being read", one.state_since_s);
    else if (steady_s - now.report.at > limits.silent_after_s)
      found = symptom("feed_silent",
                      fmt::format("has brought no report for {}", in_words(limits.silent_after_s)),
                      one.last_report_s > 0 ? one.last_report_s : live.started_s);
    else if (is_cut)
      found = now.failing;  // a connection that comes and goes is no recovery
    now.judge(std::move(found), std::min(settled_after_s, limits.silent_after_s), steady_s);
    if (now.failing) out.push_back(*now.failing);
  }
  return out;
}

Answer health(const Live& live) {
  Json list = Json::array();
  for (const Reason& reason : live.failing) {
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

std::vector<Alarm> alarms(std::vector<Reason>& known, const std::vector<Reason>& now) {
  std::vector<Alarm> out;
  for (const Reason& reason : known)
    if (!find(now, reason)) out.push_back({false, reason});
  std::vector<Reason> next;
  for (const Reason& reason : now) {
    const Reason* told = find(known, reason);
    if (!told) out.push_back({true, reason});
    next.push_back(told ? *told : reason);
  }
  known = std::move(next);
  return out;
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
