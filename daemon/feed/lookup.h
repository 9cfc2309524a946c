// Host names to addresses, without blocking the network thread or the program's end.
#pragma once
#include <utility>
// (before awaitable.hpp, which needs std::exchange in Boost 1.74)
#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace roundel::feed {

/// Looks names up, one at a time. Asio's own resolver would make io_context::run() and its
/// destructor wait for the system's look-up, which may take half a minute when the network is
/// down; this one lets go of it.
class Lookup {
 public:
  /// Does it on another thread, or throws std::system_error where the system gives none.
  using Start = std::function<void(std::function<void()>)>;
  static void start_thread(std::function<void()> work);

  explicit Lookup(boost::asio::io_context& io, Start start = start_thread);
  ~Lookup();

  /// The addresses of the host, with that port; at once for a numeric address. Empty, with
  /// `error` set, when there is none, or the time is over, or no thread
  /// could be started, or cancel() was called.
  boost::asio::awaitable<std::vector<boost::asio::ip::tcp::endpoint>> resolve(
      std::string host, int port, std::chrono::milliseconds longest, std::string& error);
  void cancel();

 private:
  struct State;
  boost::asio::io_context& io_;
  const Start start_;
  std::shared_ptr<State> state_;
};

}  // namespace roundel::feed
