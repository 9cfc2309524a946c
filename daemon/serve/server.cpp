#include "roundel/serve/server.h"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <chrono>
#include <exception>
#include <map>
#include <string>
#include <system_error>
#include <thread>

#include "daemon/serve/session.h"
#include "daemon/serve/usual.h"
#include "roundel/time.h"

namespace roundel::serve {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;

std::optional<std::int64_t> size_on_disk(const std::filesystem::path& file) {
  std::error_code error;
  const auto size = std::filesystem::file_size(file, error);
  if (error) return {};
  // The log beside it comes and goes; without one there is nothing to add.
  const auto log = std::filesystem::file_size(file.string() + "-wal", error);
  return static_cast<std::int64_t>(size + (error ? 0 : log));
}

// Who can be told to listen under a name is asked for under that name.
std::vector<std::string> own_names(const Server::Options& options) {
  auto names = options.names;
  names.push_back(options.listen.host);
  return names;
}

}  // namespace

struct Server::Impl {
  // One whose waiting coroutines can be ended before it is itself.
  struct Context : asio::io_context {
    using asio::execution_context::shutdown;
    using asio::io_context::io_context;
  };

  explicit Impl(Options with)
      : options(std::move(with)),
        acceptor(io),
        door({.names = own_names(options),
              .token = options.token,
              .expect = options.expect,
              .now_s = now_s}),
        events(io, options.live, options.limits, counters),
        desk({.store = options.store,
              .queue_limit = options.limits.queued_answers,
              .cache_bytes = options.limits.cache_bytes,
              .usual = [this](const schema::Store& store) { return usual_work(door, store); }}),
        shared{.limits = options.limits,
               .door = door,
               .live = options.live,
               .store_bytes = [this] { return size_on_disk(options.store); },
               .now_s = now_s,
               .counters = counters,
               .events = events,
               .desk = desk} {}

  ~Impl() {
    io.stop();
    if (network.joinable()) network.join();
    // What still waits for an answer is dropped with its connection, while `io` is there.
    desk.stop();
    // Connections in mid-answer end here: they refer to members that go before `io` does.
    io.shutdown();
  }

  Result<void> bind() {
    const std::string where = fmt::format("{}:{}", options.listen.host, options.listen.port);
    error_code error;
    auto address = asio::ip::make_address(options.listen.host, error);
    if (error) {
      tcp::resolver resolver(io);
      const auto found = resolver.resolve(options.listen.host, "", error);
      if (error || found.empty()) {
        return fail(Errc::bad_config, "cannot find this host", where,
                    "set [web] listen to an address of this machine, like 127.0.0.1:27410");
      }
      address = found.begin()->endpoint().address();
    }
    const tcp::endpoint endpoint(address, static_cast<std::uint16_t>(options.listen.port));
    const auto attempt = [&](auto step) {
      if (!error) step();
    };
    attempt([&] { acceptor.open(endpoint.protocol(), error); });
    // Lets a restart take the port at once, while old connections still fade.
    attempt([&] { acceptor.set_option(asio::socket_base::reuse_address(true), error); });
    attempt([&] { acceptor.bind(endpoint, error); });
    attempt([&] { acceptor.listen(asio::socket_base::max_listen_connections, error); });
    if (!error) return {};
    return fail(Errc::io, fmt::format("cannot serve here ({})", error.message()), where,
                "stop what uses this address, or change [web] listen");
  }

  // One session; its end is noticed whatever it was.
  void start_session(tcp::socket socket) {
    ++counters.connections;
    const std::string client = client_of(socket);
    ++by_client[client];
    asio::co_spawn(io, serve_connection(std::move(socket), shared),
                   [this, client](std::exception_ptr fault) {
                     --counters.connections;
                     if (--by_client[client] == 0) by_client.erase(client);
                     if (!fault) return;
                     ++counters.failures;
                     try {
                       std::rethrow_exception(fault);
                     } catch (const std::exception& exception) {
                       spdlog::error("web: a connection failed: {}", exception.what());
                     }
                   });
  }

  // The last eighth of the places is for those who hold less than an eighth.
  bool has_place(const tcp::socket& socket) {
    const std::size_t limit = options.limits.connections;
    const auto taken = static_cast<std::size_t>(counters.connections);
    if (taken < limit - limit / 8) return true;
    const auto at = by_client.find(client_of(socket));
    return taken < limit && (at == by_client.end() || at->second < limit / 8);
  }

  void turn_away(tcp::socket socket) {
    ++counters.refused["connections"];
    // Short enough for an empty send buffer, so it never waits.
    static constexpr std::string_view full =
        "HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/problem+json\r\n"
        "Content-Length: 85\r\nRetry-After: 2\r\nConnection: close\r\n\r\n"
        "{\"title\":\"Service Unavailable\",\"status\":503,\"detail\":\"too many connections at "
        "once\"}\n";
    error_code ignored;
    socket.non_blocking(true, ignored);
    socket.send(asio::buffer(full), 0, ignored);
    socket.shutdown(tcp::socket::shutdown_send, ignored);
  }

  asio::awaitable<void> accept() {
    asio::steady_timer pause(io);
    for (;;) {
      error_code error;
      tcp::socket socket =
          co_await acceptor.async_accept(asio::redirect_error(asio::use_awaitable, error));
      if (error) {
        if (!acceptor.is_open()) co_return;
        // Out of file descriptors, most likely: trying again at once would only spin.
        ++counters.refused["accept"];
        pause.expires_after(std::chrono::milliseconds(200));
        co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
        continue;
      }
      if (has_place(socket)) {
        start_session(std::move(socket));
      } else {
        turn_away(std::move(socket));
      }
    }
  }

  void run() {
    network = std::thread([this] {
      const auto guard = asio::make_work_guard(io);
      asio::co_spawn(io, accept(), [this](std::exception_ptr fault) {
        if (fault) {
          ++counters.failures;
          spdlog::error("web: no more connections are taken");
        }
      });
      io.run();
    });
  }

  Options options;
  Counters counters;
  std::map<std::string, std::size_t> by_client;  // open connections
  Context io{1};
  tcp::acceptor acceptor;
  Door door;
  EventHub events;
  Desk desk;
  Shared shared;
  std::thread network;
};

Server::Server(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Server::Server(Server&&) noexcept = default;
Server& Server::operator=(Server&&) noexcept = default;
Server::~Server() = default;

Result<Server> Server::start(Options options) {
  auto impl = std::make_unique<Impl>(std::move(options));
  if (auto bound = impl->bind(); !bound) return tl::unexpected(std::move(bound.error()));
  impl->run();
  return Server(std::move(impl));
}

int Server::port() const {
  error_code ignored;
  return impl_->acceptor.local_endpoint(ignored).port();
}

}  // namespace roundel::serve
