// The web server: the embedded page, its API, live events, metrics. Read-only.
#pragma once
#include <filesystem>
#include <memory>
#include <string>

#include "roundel/config/config.h"
#include "roundel/result.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

/// Runs on threads of its own (one for the network, one for answers that take long); opens the
/// database for reading only.
class Server {
 public:
  struct Options {
    config::Endpoint listen;                 ///< port 0: any free one
    std::filesystem::path store;
    LiveSource live;
  };
  /// Binds and starts. Errc::io when the address is taken or not ours, naming it.
  static Result<Server> start(Options options);
  Server(Server&&) noexcept;
  Server& operator=(Server&&) noexcept;
  ~Server();  ///< stops within a second

  int port() const;

 private:
  struct Impl;
  explicit Server(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace roundel::serve
