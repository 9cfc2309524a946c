// The network side of one feed: connects out or listens, and turns bytes into intakes.
#pragma once
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>

#include "daemon/feed/intake.h"
#include "daemon/log.h"
#include "roundel/config/config.h"
#include "roundel/result.h"
#include "roundel/serve/live.h"

namespace boost::asio {
class io_context;
}

namespace roundel::feed {

/// Times that are not the user's business, but a test's.
struct Timing {
  std::chrono::milliseconds connect{10'000};       ///< looking up and connecting, each
  std::chrono::milliseconds accept_failed{1'000};  ///< before accepting again
  double backoff_scale = 1;                        ///< of Backoff's times
};

/// One feed's connections. All calls, and all calls of the hooks, on the thread that runs the
/// io_context. It must not go before the hook `stopped` has been called, nor within a hook.
///
/// Connecting: looks the name up, tries each address, reads until the peer closes or is silent for
/// stall_s, and begins anew, forever (Backoff; begun afresh once bytes have come). Listening: at
/// most max_connections at a time, more are closed at once and counted; each has its own line
/// framing and layout reader. A connection that is silent for stall_s is closed in both.
class Connection {
 public:
  struct Hooks {
    /// Takes the lines. False: no room, they are left as they are; room() follows when there is.
    /// Nothing is read from the socket meanwhile.
    std::function<bool(Intake&)> offer;
    /// Takes them whatever the room: the last ones, read before stop().
    std::function<void(Intake&&)> offer_last;
    std::function<void(serve::FeedState)> state;  ///< called at each change
    std::function<void()> stopped;                ///< once, after stop(): nothing more is called
    Log log;                                      ///< one line a change, without the feed's name
  };
  struct Counters {
    std::uint64_t connected{};  ///< connections made or accepted
    std::uint64_t refused{};    ///< accepted beyond max_connections, and closed
    std::uint64_t stalled{};
    std::uint64_t exceptions{};  ///< that ended a session
    std::uint64_t bytes{};
  };

  Connection(boost::asio::io_context& io, config::Feed feed, Hooks hooks, Timing timing = {});
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;
  ~Connection();

  /// Errc::io when the address to listen on is taken or not ours, naming it.
  Result<void> start();
  /// Closes all. The hooks still get what has been read; `stopped` is the last.
  void stop();
  /// offer() may be tried again.
  void room();

  /// Where it listens, with the real port where 0 was asked for.
  std::optional<config::Endpoint> listening() const;
  Counters counters() const;

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace roundel::feed
