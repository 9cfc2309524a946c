// A recording side for tests: one feed that is connected, one that is stalled.
#pragma once
#include "roundel/serve/live.h"

namespace roundel::serve {

inline Live sample_live() {
  Live live;
  live.now_s = 1764000100;
  live.started_s = 1764000000;
  live.last_commit_s = 1764000098;
  live.last_commit_took_s = 0.012;
  FeedLive roof;
  roof.name = "roof";
  roof.state = FeedState::connected;
  roof.endpoint = "127.0.0.1:27411";
  roof.state_since_s = 1764000001;
  roof.last_report_s = 1764000099.5;
  roof.feed_time_s = 1764000099.25;
  roof.received = 1000;
  roof.stored = 900;
  roof.repeats = 60;
  roof.rejected = 40;
  roof.rejects = {{"no_altitude", 30}, {"stale", 10}};
  roof.aircraft = 12;
  roof.farthest_km = 301.5;
  roof.queued = 3;
  roof.queue_limit = 20000;
  FeedLive shed;
  shed.name = "shed";
  shed.state = FeedState::listening;
  shed.state_since_s = 1764000002;
  shed.queue_limit = 20000;
  live.feeds = {roof, shed};
  live.sensitivity = {{"roof", "collinear", -1.25, -1.75, -0.75, 12, 1763900000}};
  return live;
}

}  // namespace roundel::serve
