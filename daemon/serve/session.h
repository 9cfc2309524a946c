// One connection: moves bytes, keeps limits, decides nothing.
#pragma once
// clang-format off
#include <utility>  // Boost 1.74's awaitable.hpp uses it without including it
// clang-format on
#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <string>

#include "daemon/serve/counters.h"
#include "daemon/serve/desk.h"
#include "daemon/serve/door.h"
#include "daemon/serve/events.h"
#include "daemon/serve/routes.h"
#include "roundel/serve/server.h"

namespace roundel::serve {

/// What all connections share. Outlives them. Network thread only, but for the desk.
struct Shared {
  const Limits& limits;
  const Door& door;
  std::function<Live()> live;
  std::function<std::optional<std::int64_t>()> store_bytes;
  std::function<double()> now_s;
  Counters& counters;
  EventHub& events;
  Desk& desk;
};

/// Whose connection it is: those from one address count as one client's.
std::string client_of(const boost::asio::ip::tcp::socket& socket);

/// Serves requests until either side ends the connection or a limit does.
boost::asio::awaitable<void> serve_connection(boost::asio::ip::tcp::socket socket, Shared& shared);

}  // namespace roundel::serve
