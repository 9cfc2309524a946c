// /api/live: server-sent events (HTML standard, section 9.2) to a bounded number of clients.
#pragma once
// clang-format off
#include <utility>  // Boost 1.74's awaitable.hpp uses it without including it
// clang-format on
#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <string>
#include <vector>

#include "daemon/serve/counters.h"
#include "roundel/serve/live.h"
#include "roundel/serve/server.h"

namespace roundel::serve {

/// Tells every client how things stand: at once, then when something has changed, not more often
/// than Limits::event_time. A client that is slow misses states in between, never the newest one;
/// one that does not take an event within Limits::event_write_time is cut. Network thread only.
class EventHub {
 public:
  EventHub(boost::asio::io_context& io, const LiveSource& live, const Limits& limits,
           Counters& counters);
  ~EventHub();

  bool has_room() const { return clients_.size() < limits_.event_clients; }
  /// Owns the connection until either side ends it. The response's header has been sent.
  boost::asio::awaitable<void> attend(boost::asio::ip::tcp::socket socket);

 private:
  struct Client;
  void look();        // takes a snapshot; wakes the clients if it is news
  void look_later();  // and again after event_time, while there are clients
  boost::asio::awaitable<bool> write(const std::shared_ptr<Client>& client, std::string_view text);

  const LiveSource& live_;
  const Limits& limits_;
  Counters& counters_;
  boost::asio::steady_timer next_look_;
  std::vector<Client*> clients_;
  Live newest_;
  std::shared_ptr<const std::string> event_;  // newest_, as sent
  std::uint64_t serial_ = 0;                  // of event_
};

}  // namespace roundel::serve
