#include "daemon/feed/connection.h"

#include <netinet/in.h>
#include <netinet/tcp.h>

#include <utility>
// (before awaitable.hpp, which needs std::exchange in Boost 1.74)
#include <boost/asio/awaitable.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <set>

#include "daemon/feed/backoff.h"
#include "daemon/feed/lookup.h"
#include "roundel/feed/framer.h"
#include "roundel/time.h"

namespace roundel::feed {
namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using serve::FeedState;

namespace {

constexpr std::size_t read_bytes = 32 * 1024;

std::chrono::steady_clock::duration ticks(std::chrono::duration<double> time) {
  return std::chrono::duration_cast<std::chrono::steady_clock::duration>(time);
}

// The system notices a peer that is gone without a word in about a minute.
void keep_alive(tcp::socket& socket) {
  error_code ignored;
  socket.set_option(asio::socket_base::keep_alive(true), ignored);
  const int descriptor = socket.native_handle();
  const int idle_s = 30, interval_s = 10, probes = 3;
  setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPIDLE, &idle_s, sizeof idle_s);
  setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPINTVL, &interval_s, sizeof interval_s);
  setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPCNT, &probes, sizeof probes);
}

config::Endpoint endpoint_of(const tcp::endpoint& endpoint) {
  return {endpoint.address().to_string(), endpoint.port()};
}

// Closes a socket when a time is over: how an operation is cancelled in Boost 1.74. The handler
// may be queued when the socket goes, so what it touches is shared.
class Deadline {
 public:
  explicit Deadline(tcp::socket& socket)
      : timer_(socket.get_executor()), state_(std::make_shared<State>(State{&socket})) {}
  Deadline(const Deadline&) = delete;
  Deadline& operator=(const Deadline&) = delete;
  ~Deadline() { state_->socket = nullptr; }

  void arm(std::chrono::duration<double> time) {
    state_->has_passed = false;
    timer_.expires_after(ticks(time));
    timer_.async_wait([state = state_, turn = ++state_->turn](error_code error) {
      if (error || !state->socket || state->turn != turn) return;
      state->has_passed = true;
      error_code ignored;
      state->socket->close(ignored);
    });
  }
  void disarm() {
    ++state_->turn;
    timer_.cancel();
  }
  bool has_passed() const { return state_->has_passed; }

 private:
  struct State {
    tcp::socket* socket;
    std::uint64_t turn = 0;
    bool has_passed = false;
  };
  asio::steady_timer timer_;
  std::shared_ptr<State> state_;
};

}  // namespace

struct Connection::Impl : std::enable_shared_from_this<Impl> {
  Impl(asio::io_context& context, config::Feed feed_config, Hooks feed_hooks, Timing times)
      : io(context),
        feed(std::move(feed_config)),
        hooks(std::move(feed_hooks)),
        log(hooks.log),
        timing(times),
        lookup(context),
        acceptor(context),
        pause(context),
        room(context),
        backoff(static_cast<std::uint32_t>(std::hash<std::string>{}(feed.name)) ^
                std::random_device{}()) {
    // Set once: setting it again would wake every session that waits.
    room.expires_at(asio::steady_timer::time_point::max());
  }

  asio::io_context& io;
  config::Feed feed;
  Hooks hooks;
  LimitedLog log;
  Timing timing;
  Lookup lookup;
  tcp::acceptor acceptor;
  asio::steady_timer pause;  // before connecting or accepting again
  asio::steady_timer room;   // never expires by itself: cancelled when there is room
  Backoff backoff;
  std::set<tcp::socket*> sockets;
  std::size_t n_readers = 0;
  std::size_t n_running = 0;  // coroutines
  Counters counters;
  bool is_stopping = false;
  FeedState state = FeedState::stopped;
  std::string last_failure;

  void set_state(FeedState next) {
    if (next == state) return;
    state = next;
    hooks.state(next);
  }

  // Runs a coroutine that ends by itself; an exception ends it alone, and is told.
  void spawn(asio::awaitable<void> (Impl::*member)()) { launch((this->*member)()); }
  void launch(asio::awaitable<void> coroutine) {
    ++n_running;
    asio::co_spawn(io, std::move(coroutine),
                   [self = shared_from_this()](const std::exception_ptr& error) {
                     if (error) self->count_exception(error);
                     --self->n_running;
                     self->tell_stopped();
                   });
  }
  void tell_stopped() {
    if (!is_stopping || n_running > 0) return;
    set_state(FeedState::stopped);
    if (hooks.stopped) std::exchange(hooks.stopped, nullptr)();
  }
  void count_exception(const std::exception_ptr& error) {
    ++counters.exceptions;
    try {
      std::rethrow_exception(error);
    } catch (const std::exception& exception) {
      log(Level::error, std::string("a session failed: ") + exception.what());
    } catch (...) {
      log(Level::error, "a session failed");
    }
  }

  asio::awaitable<void> wait(std::chrono::duration<double> time) {
    error_code ignored;
    pause.expires_after(ticks(time));
    co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, ignored));
  }

  // Hands lines over, waiting for room as long as it takes.
  asio::awaitable<void> hand_over(Intake& intake) {
    if (intake.empty()) co_return;
    while (!is_stopping && !hooks.offer(intake)) {
      error_code ignored;
      co_await room.async_wait(asio::redirect_error(asio::use_awaitable, ignored));
    }
    if (!intake.empty()) hooks.offer_last(std::move(intake));
    intake = Intake{};
  }

  // Reads a connection to its end. Gives the reason, empty when stopping.
  asio::awaitable<std::string> read(tcp::socket& socket) {
    LineFramer framer(feed.layout.line_bytes);
    LayoutReader reader(feed.layout);
    Deadline deadline(socket);
    std::vector<char> buffer(read_bytes);
    Intake intake;
    intake.interrupted = true;
    bool has_told_trouble = false;
    error_code error;
    std::uint64_t n_too_long = 0;
    while (!error) {
      deadline.arm(std::chrono::duration<double>(feed.stall_s));
      const std::size_t n = co_await socket.async_read_some(
          asio::buffer(buffer), asio::redirect_error(asio::use_awaitable, error));
      deadline.disarm();
      counters.bytes += n;
      const double arrival_s = now_s();
      framer.feed({buffer.data(), n},
                  [&](std::string_view line) { intake.add(reader, line, arrival_s); });
      if (error) {
        // What was begun and not ended may be cut anywhere, in the middle of a number too.
        framer.finish([&](std::string_view) { intake.reject(Reject::malformed); });
      }
      intake.reject(Reject::too_long, static_cast<int>(framer.too_long() - n_too_long));
      n_too_long = framer.too_long();
      if (!intake.reports.empty()) backoff.reset();
      if (!reader.trouble().empty() && !has_told_trouble) {
        has_told_trouble = true;
        log(Level::warning, "no line can be read: " + reader.trouble());
      }
      for (const std::string& fault : reader.take_faults())
        log(Level::warning, "a line can't be read: " + fault);
      co_await hand_over(intake);
    }
    intake.interrupted = true;
    co_await hand_over(intake);
    if (is_stopping) co_return "";
    if (deadline.has_passed()) {
      ++counters.stalled;
      set_state(FeedState::stalled);
      co_return "silent for " + std::to_string(static_cast<int>(feed.stall_s)) + " s";
    }
    co_return error == asio::error::eof ? "closed by the other side" : error.message();
  }

  // A failure is told once, however often it is met again.
  void tell_failure(const std::string& what) {
    if (what == last_failure) return;
    last_failure = what;
    log(Level::warning, what + "; trying again");
  }

  asio::awaitable<void> connect_once() {
    set_state(FeedState::connecting);
    const std::string where = feed.connect->text();
    std::string why;
    const auto endpoints =
        co_await lookup.resolve(feed.connect->host, feed.connect->port, timing.connect, why);
    if (is_stopping) co_return;
    if (endpoints.empty()) {
      tell_failure("cannot find " + where + ": " + why);
      co_return;
    }
    for (const tcp::endpoint& endpoint : endpoints) {
      tcp::socket socket(io);
      const Registered registered(*this, socket);
      Deadline deadline(socket);
      deadline.arm(timing.connect);
      error_code error;
      co_await socket.async_connect(endpoint, asio::redirect_error(asio::use_awaitable, error));
      deadline.disarm();
      if (is_stopping) co_return;
      if (error) {
        why = deadline.has_passed() ? "no answer" : error.message();
        continue;
      }
      keep_alive(socket);
      ++counters.connected;
      set_state(FeedState::connected);
      last_failure.clear();
      log(Level::info, "connected to " + where);
      const std::string end = co_await read(socket);
      if (end.empty()) co_return;
      log(Level::warning, "connection to " + where + " lost: " + end);
      if (state == FeedState::connected) set_state(FeedState::connecting);
      co_return;
    }
    tell_failure("cannot connect to " + where + ": " + why);
  }

  asio::awaitable<void> connect_forever() {
    co_await again_and_again(&Impl::connect_once,
                             [this] { return backoff.next() * timing.backoff_scale; });
  }

  // One session after another until stopped. An exception ends the session it came from, not the
  // feed.
  template <class Pause>
  asio::awaitable<void> again_and_again(asio::awaitable<void> (Impl::*session)(), Pause between) {
    while (!is_stopping) {
      std::exception_ptr error;
      try {
        co_await (this->*session)();
      } catch (...) {
        error = std::current_exception();
      }
      if (error) count_exception(error);
      // A session that failed so may fail so at once again.
      const Backoff::Duration time =
          error ? std::max(between(), Backoff::first * timing.backoff_scale) : between();
      if (!is_stopping && time > Backoff::Duration{0}) co_await wait(time);
    }
  }

  // Already counted in n_readers.
  asio::awaitable<void> serve(tcp::socket socket) {
    struct Counted {
      Impl& impl;
      ~Counted() {
        --impl.n_readers;
        if (impl.n_readers == 0 && !impl.is_stopping) impl.set_state(FeedState::listening);
      }
    };
    const Counted counted{*this};
    const Registered registered(*this, socket);
    if (is_stopping) co_return;
    error_code ignored;
    const std::string peer = endpoint_of(socket.remote_endpoint(ignored)).text();
    keep_alive(socket);
    ++counters.connected;
    set_state(FeedState::connected);
    log(Level::info, "connection from " + peer);
    const std::string end = co_await read(socket);
    if (n_readers > 1) set_state(FeedState::connected);
    if (!end.empty()) log(Level::info, "connection from " + peer + " ended: " + end);
  }

  asio::awaitable<void> accept_once() {
    error_code error;
    tcp::socket socket(io);
    co_await acceptor.async_accept(socket, asio::redirect_error(asio::use_awaitable, error));
    if (is_stopping) co_return;
    if (error) {
      // Out of descriptors, most likely: accepting again at once would fail as fast as it spins.
      tell_failure("cannot accept a connection: " + error.message());
      co_await wait(timing.accept_failed);
      co_return;
    }
    last_failure.clear();
    if (n_readers >= static_cast<std::size_t>(feed.max_connections)) {
      ++counters.refused;
      log(Level::warning, "connection refused: " + std::to_string(n_readers) +
                              " are open already (max_connections)");
      co_return;
    }
    ++n_readers;
    launch(serve(std::move(socket)));
  }

  asio::awaitable<void> accept_forever() {
    co_await again_and_again(&Impl::accept_once, [] { return Backoff::Duration{0}; });
  }

  // Known to stop() for as long as it lives.
  struct Registered {
    Registered(Impl& owner, tcp::socket& what) : impl(owner), socket(what) {
      impl.sockets.insert(&socket);
    }
    Registered(const Registered&) = delete;
    Registered& operator=(const Registered&) = delete;
    ~Registered() { impl.sockets.erase(&socket); }
    Impl& impl;
    tcp::socket& socket;
  };
};

Connection::Connection(asio::io_context& io, config::Feed feed, Hooks hooks, Timing timing)
    : impl_(std::make_shared<Impl>(io, std::move(feed), std::move(hooks), timing)) {}

Connection::~Connection() = default;

Result<void> Connection::start() {
  Impl& impl = *impl_;
  if (impl.feed.connect) {
    impl.spawn(&Impl::connect_forever);
    return {};
  }
  if (!impl.feed.listen) return {};
  const auto refuse = [&](const error_code& error) {
    error_code ignored;
    impl.acceptor.close(ignored);
    return fail(Errc::io,
                "feed \"" + impl.feed.name + "\" cannot listen on " + impl.feed.listen->text() +
                    ": " + error.message(),
                {}, "choose another address or port");
  };
  error_code error;
  const auto address = asio::ip::make_address(impl.feed.listen->host, error);
  if (error) return refuse(error);
  const tcp::endpoint endpoint(address, static_cast<unsigned short>(impl.feed.listen->port));
  impl.acceptor.open(endpoint.protocol(), error);
  if (error) return refuse(error);
  // After a restart the port may still be waiting for the last packets of the run before.
  impl.acceptor.set_option(asio::socket_base::reuse_address(true), error);
  if (!error) impl.acceptor.bind(endpoint, error);
  if (!error) impl.acceptor.listen(asio::socket_base::max_listen_connections, error);
  if (error) return refuse(error);
  impl.set_state(FeedState::listening);
  impl.spawn(&Impl::accept_forever);
  return {};
}

void Connection::stop() {
  Impl& impl = *impl_;
  if (impl.is_stopping) return;
  impl.is_stopping = true;
  error_code ignored;
  impl.acceptor.close(ignored);
  for (tcp::socket* socket : impl.sockets) socket->close(ignored);
  impl.lookup.cancel();
  impl.pause.cancel();
  impl.room.cancel();
  // Where nothing runs nothing else would say so.
  asio::post(impl.io, [self = impl_] { self->tell_stopped(); });
}

void Connection::room() { impl_->room.cancel(); }

std::optional<config::Endpoint> Connection::listening() const {
  error_code error;
  const auto endpoint = impl_->acceptor.local_endpoint(error);
  if (error) return std::nullopt;
  return endpoint_of(endpoint);
}

Connection::Counters Connection::counters() const { return impl_->counters; }

}  // namespace roundel::feed
