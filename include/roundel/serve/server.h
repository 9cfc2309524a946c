// The web server: the embedded page, its API, live events, metrics.
#pragma once
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/result.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

/// What a client may use up. Whatever goes beyond is refused or cut, and counted in /metrics.
struct Limits {
  std::size_t header_bytes = 8 * 1024;  ///< request line and header fields: else 431
  std::size_t body_bytes = 64 * 1024;   ///< else 413
  std::size_t connections = 64;         ///< at once: else 503 and closed; fewer from one address
  std::size_t event_clients = 16;       ///< of these, reading /api/live: else 503
  std::size_t queued_answers = 32;      ///< waiting for the database, per worker: else 503
  std::size_t cache_bytes = 16 * 1024 * 1024;  ///< answers kept
  std::chrono::milliseconds header_time{
      10'000};  ///< from a request's first byte to its last header
  std::chrono::milliseconds body_time{10'000};
  std::chrono::milliseconds write_time{30'000};        ///< a whole answer taken by the client
  std::chrono::milliseconds idle_time{60'000};         ///< between requests of one connection
  std::chrono::milliseconds event_time{500};           ///< least time between two live events
  std::chrono::milliseconds event_write_time{10'000};  ///< a live event taken by the client
  std::chrono::milliseconds heartbeat_time{15'000};    ///< of /api/live when nothing changes
};

/// Runs on threads of its own: one for the network, three for answers from the database (what is
/// kept and what is short does not wait for what is long, and nobody for what nobody waits for).
/// Opens the database for reading, and for writing only while a change is made that was asked for
/// with the token.
class Server {
 public:
  struct Options {
    config::Endpoint listen;  ///< port 0: any free one
    std::filesystem::path store;
    LiveSource live;  ///< called on the network thread
    /// Host names the page is reached by, besides localhost, addresses and the host of `listen`;
    /// any other name in a request is refused (DNS rebinding).
    std::vector<std::string> names{};
    /// Whoever sends it may start and stop trials and add notes; empty: nobody may.
    std::string token{};
    site::ExpectSettings expect{};  ///< refraction, mask, terrain and link of the site
    Limits limits{};
  };
  /// Binds and starts. Errc::io when the address is taken or not ours, naming it;
  /// Errc::bad_config when the host is neither an address nor resolvable.
  static Result<Server> start(Options options);
  Server(Server&&) noexcept;
  Server& operator=(Server&&) noexcept;
  /// Cuts all connections; waits only for an answer that is being worked out.
  ~Server();

  int port() const;

 private:
  struct Impl;
  explicit Server(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::serve
