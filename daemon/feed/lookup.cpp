#include "daemon/feed/lookup.h"

#include <netdb.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <cstring>
#include <mutex>
#include <system_error>
#include <thread>

namespace roundel::feed {
namespace asio = boost::asio;
using asio::ip::tcp;

// Shared with the thread that looks up, which may outlive all else.
struct Lookup::State {
  std::mutex mutex;
  asio::io_context* io = nullptr;       // null once the Lookup is gone
  asio::steady_timer* timer = nullptr;  // of the coroutine that waits; network thread only
  bool is_running = false;
  bool is_done = false;
  std::string host;  // what is being looked up
  std::vector<asio::ip::address> addresses;
  std::string error;
};

namespace {

std::vector<asio::ip::address> system_lookup(const std::string& host, std::string& error) {
  addrinfo hints{};
  hints.ai_family = AF_UNSPEC;
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  std::vector<asio::ip::address> out;
  if (const int code = getaddrinfo(host.c_str(), nullptr, &hints, &found); code != 0) {
    error = gai_strerror(code);
    return out;
  }
  for (const addrinfo* at = found; at; at = at->ai_next) {
    tcp::endpoint endpoint;
    if (at->ai_addrlen > endpoint.capacity()) continue;
    std::memcpy(endpoint.data(), at->ai_addr, at->ai_addrlen);
    out.push_back(endpoint.address());
  }
  freeaddrinfo(found);
  if (out.empty()) error = "no address";
  return out;
}

}  // namespace

Lookup::Lookup(asio::io_context& io, Start start)
    : io_(io), start_(std::move(start)), state_(std::make_shared<State>()) {
  state_->io = &io;
}

Lookup::~Lookup() {
  const std::lock_guard lock(state_->mutex);
  state_->io = nullptr;
}

void Lookup::start_thread(std::function<void()> work) { std::thread(std::move(work)).detach(); }

void Lookup::cancel() {
  if (state_->timer) state_->timer->cancel();
}

asio::awaitable<std::vector<tcp::endpoint>> Lookup::resolve(std::string host, int port,
                                                            std::chrono::milliseconds longest,
                                                            std::string& error) {
  std::vector<tcp::endpoint> out;
  boost::system::error_code not_numeric;
  const auto number = static_cast<unsigned short>(port);
  if (const auto address = asio::ip::make_address(host, not_numeric); !not_numeric) {
    out.emplace_back(address, number);
    co_return out;
  }

  asio::steady_timer timer(io_, longest);
  {
    // A look-up that was given up may still run; its answer serves when the host is the same.
    const std::lock_guard lock(state_->mutex);
    if (!state_->is_running) {
      state_->is_running = true;
      state_->is_done = false;
      state_->host = host;
      const auto look_up = [state = state_, host] {
        std::string why;
        auto addresses = system_lookup(host, why);
        const std::lock_guard done(state->mutex);
        state->addresses = std::move(addresses);
        state->error = std::move(why);
        state->is_running = false;
        state->is_done = true;
        if (!state->io) return;
        asio::post(*state->io, [state] {
          if (state->timer) state->timer->cancel();
        });
      };
      try {
        start_(look_up);
      } catch (const std::system_error& refused) {
        state_->is_running = false;
        error = refused.what();
        co_return out;
      }
    }
  }
  state_->timer = &timer;
  boost::system::error_code ignored;
  co_await timer.async_wait(asio::redirect_error(asio::use_awaitable, ignored));
  state_->timer = nullptr;

  const std::lock_guard lock(state_->mutex);
  if (!state_->is_done || state_->host != host) {
    error = "looking the name up takes too long";
    co_return out;
  }
  state_->is_done = false;
  error = state_->error;
  for (const auto& address : state_->addresses) out.emplace_back(address, number);
  co_return out;
}

}  // namespace roundel::feed
