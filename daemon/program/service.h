// What the service manager is told: ready, alive, stopping (the protocol of sd_notify(3)).
#pragma once
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <functional>
#include <string>

namespace roundel::program {

/// Sends to the socket that NOTIFY_SOCKET names; does nothing where there is none. Network thread
/// only.
class Service {
 public:
  explicit Service(boost::asio::io_context& io);

  /// Recording has begun.
  void ready();
  /// No more is read; what was is being written. Ends the signs of life.
  void stopping();
  /// From now on says at half of WATCHDOG_USEC that the daemon lives, while `is_alive` agrees.
  /// That this runs at all shows that the network thread does.
  void watch(std::function<bool()> is_alive);

 private:
  void send(const std::string& state) const;
  void beat();

  std::string socket_;     // as sun_path takes it; empty: none
  double interval_s_ = 0;  // between signs of life; 0: none are asked for
  bool is_stopping_ = false;
  std::function<bool()> is_alive_;
  boost::asio::steady_timer timer_;
};

}  // namespace roundel::program
