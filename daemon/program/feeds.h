// All feeds of a running daemon: their connections, and how a new configuration reaches them.
#pragma once
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/feed/connection.h"
#include "daemon/log.h"
#include "daemon/program/live_board.h"
#include "daemon/record/writer.h"
#include "roundel/config/config.h"

namespace roundel::program {

/// Runs on the network thread. Outlives the io_context's handlers: stop() and wait for the end.
class Feeds {
 public:
  Feeds(boost::asio::io_context& io, record::Writer& writer, LiveBoard& board, Log log)
      : io_(io), writer_(writer), board_(board), log_(std::move(log)) {}

  /// Starts a feed that the writer already records. Errc::io as Connection::start.
  Result<void> start(const config::Feed& feed);
  /// Makes the feeds those of a new configuration; what has not changed runs on untouched.
  void change(const std::vector<config::Feed>& feeds);
  /// Closes all; `done` is called when the last has handed over what it had read.
  void stop(std::function<void()> done);
  /// The writer has room again.
  void room();

 private:
  struct Entry {
    config::Feed feed;
    std::unique_ptr<feed::Connection> connection;  // none: it could not listen
    bool is_stopping = false;
    std::optional<config::Feed> next;  // what it becomes once stopped
  };
  Result<void> connect(Entry& entry);
  void retire(Entry& entry);
  void stopped(const std::string& name);
  void begin(const config::Feed& feed);
  void told_stop();

  boost::asio::io_context& io_;
  record::Writer& writer_;
  LiveBoard& board_;
  Log log_;
  std::map<std::string, Entry> entries_;
  std::function<void()> done_;  // set while stopping
};

}  // namespace roundel::program
