#include "daemon/program/live_board.h"

#include "roundel/time.h"

namespace roundel::program {
namespace {

void fill(serve::FeedLive& feed, const record::Recording::Counts& counts) {
  feed.last_report_s = counts.last_report_s;
  feed.feed_time_s = counts.live.feed_time_s;
  feed.clock_ahead_s = counts.clock_ahead_s;
  feed.received = counts.live.received;
  feed.stored = counts.live.stored;
  feed.repeats = counts.live.repeats;
  feed.rejected = counts.live.rejected;
  feed.aircraft = static_cast<std::int64_t>(counts.live.aircraft);
  feed.farthest_km = counts.live.farthest_km;
  feed.rejects.assign(counts.rejects.begin(), counts.rejects.end());
}

}  // namespace

LiveBoard::LiveBoard() : started_s_(now_s()) {}

void LiveBoard::set(const std::string& feed, serve::FeedState state) {
  const std::lock_guard lock(mutex_);
  State& of = feeds_[feed];
  of.state = state;
  of.since_s = now_s();
}

void LiveBoard::place(const std::string& feed, std::string endpoint) {
  const std::lock_guard lock(mutex_);
  feeds_[feed].endpoint = std::move(endpoint);
}

void LiveBoard::remove(const std::string& feed) {
  const std::lock_guard lock(mutex_);
  feeds_.erase(feed);
}

serve::Live LiveBoard::snapshot(const record::Writer& writer, std::size_t queue_limit) const {
  const record::Writer::Status status = writer.status();
  serve::Live live;
  live.now_s = now_s();
  live.started_s = started_s_;
  live.last_commit_s = status.last_commit_s;
  live.last_commit_took_s = status.last_commit_took_s;
  live.store_state = status.store_state;
  const std::lock_guard lock(mutex_);
  for (const auto& [name, state] : feeds_) {
    serve::FeedLive feed;
    feed.name = name;
    feed.state = state.state;
    feed.state_since_s = state.since_s;
    feed.endpoint = state.endpoint;
    feed.queue_limit = queue_limit;
    if (const auto queued = status.queued.find(name); queued != status.queued.end())
      feed.queued = queued->second;
    for (const record::Recording::Counts& counts : status.feeds)
      if (counts.feed == name) fill(feed, counts);
    live.feeds.push_back(std::move(feed));
  }
  return live;
}

}  // namespace roundel::program
