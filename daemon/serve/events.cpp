#include "daemon/serve/events.h"

#include <fmt/format.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <utility>

#include "daemon/serve/live_json.h"

namespace roundel::serve {

namespace asio = boost::asio;
using boost::system::error_code;

struct EventHub::Client : std::enable_shared_from_this<Client> {
  explicit Client(asio::ip::tcp::socket connection)
      : socket(std::move(connection)),
        wake(socket.get_executor()),
        deadline(socket.get_executor()) {}

  // Nothing is expected from the client but its end, which frees its place at once.
  void watch() {
    socket.async_read_some(asio::buffer(sink),
                           [self = shared_from_this()](error_code error, std::size_t) {
                             if (!error) return self->watch();
                             self->is_gone = true;
                             self->wake.cancel();
                           });
  }
  void close() {
    error_code ignored;
    socket.close(ignored);
    wake.cancel();
    deadline.cancel();
  }

  asio::ip::tcp::socket socket;
  asio::steady_timer wake, deadline;
  std::array<char, 256> sink{};
  bool is_gone = false;
};

EventHub::EventHub(asio::io_context& io, const LiveSource& live, const Limits& limits,
                   Counters& counters)
    : live_(live), limits_(limits), counters_(counters), next_look_(io) {}

EventHub::~EventHub() = default;

void EventHub::look() {
  Live now = live_();
  if (event_ && is_same_but_for_now(now, newest_)) return;
  newest_ = std::move(now);
  ++serial_;
  event_ = std::make_shared<const std::string>(
      fmt::format("event: live\ndata: {}\n\n", live_json(newest_)));
  for (Client* client : clients_) client->wake.cancel();
}

void EventHub::look_later() {
  next_look_.expires_after(limits_.event_time);
  next_look_.async_wait([this](error_code error) {
    if (error || clients_.empty()) return;
    look();
    look_later();
  });
}

asio::awaitable<bool> EventHub::write(const std::shared_ptr<Client>& client,
                                      std::string_view text) {
  client->deadline.expires_after(limits_.event_write_time);
  client->deadline.async_wait([client, this](error_code error) {
    if (error) return;
    ++counters_.refused["event_write_time"];
    client->close();
  });
  error_code error;
  co_await asio::async_write(client->socket, asio::buffer(text),
                             asio::redirect_error(asio::use_awaitable, error));
  client->deadline.cancel();
  co_return !error;
}

asio::awaitable<void> EventHub::attend(asio::ip::tcp::socket socket) {
  error_code ignored;
  // So that what is sent to a client that has stopped reading piles up here, where it is noticed,
  // and not in the kernel, where megabytes may.
  socket.set_option(asio::socket_base::send_buffer_size(32 * 1024), ignored);
  const auto client = std::make_shared<Client>(std::move(socket));

  // Keeps the count right however this coroutine ends.
  struct Place {
    EventHub& hub;
    Client& client;
    Place(EventHub& h, Client& c) : hub(h), client(c) {
      hub.clients_.push_back(&client);
      ++hub.counters_.event_clients;
    }
    Place(const Place&) = delete;
    Place& operator=(const Place&) = delete;
    ~Place() {
      std::erase(hub.clients_, &client);
      --hub.counters_.event_clients;
      client.close();
    }
  };
  const bool is_first = clients_.empty();
  const Place place(*this, *client);
  client->watch();
  if (is_first) {
    look();  // what was seen last may be hours old
    look_later();
  }

  bool is_open = co_await write(client, "retry: 3000\n\n");
  std::uint64_t seen = 0;
  while (is_open && !client->is_gone) {
    if (seen != serial_) {
      seen = serial_;
      const auto event = event_;  // stays alive while it is written, whatever comes meanwhile
      is_open = co_await write(client, *event);
      continue;
    }
    client->wake.expires_after(limits_.heartbeat_time);
    error_code woken;
    co_await client->wake.async_wait(asio::redirect_error(asio::use_awaitable, woken));
    if (!woken) is_open = co_await write(client, ": still here\n\n");
  }
}

}  // namespace roundel::serve
