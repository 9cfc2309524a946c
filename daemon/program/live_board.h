// The state of every feed, for the page: written by the network thread, read by the web's.
#pragma once
#include <map>
#include <mutex>
#include <string>

#include "daemon/record/writer.h"
#include "roundel/serve/live.h"

namespace roundel::program {

class LiveBoard {
 public:
  LiveBoard();
  void set(const std::string& feed, serve::FeedState state);
  /// Where the feed connects to, or is connected to.
  void place(const std::string& feed, std::string endpoint);
  void remove(const std::string& feed);
  /// What is known at this moment of connections and recording together.
  serve::Live snapshot(const record::Writer& writer, std::size_t queue_limit) const;

 private:
  struct State {
    serve::FeedState state = serve::FeedState::stopped;
    double since_s{};
    std::string endpoint{};
  };
  double started_s_;
  mutable std::mutex mutex_;
  std::map<std::string, State> feeds_;
};

}  // namespace roundel::program
