#include "daemon/serve/session.h"

#include <algorithm>
#include <boost/asio/buffer.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/error.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <chrono>
#include <optional>
#include <utility>

#include "daemon/serve/reply.h"

namespace roundel::serve {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using boost::system::error_code;
using Ready = std::shared_ptr<const Rendered>;
using Parser = http::request_parser<http::string_body>;

std::string_view view(beast::string_view text) { return {text.data(), text.size()}; }

Request read_fields(const Parser& parser) {
  const auto& message = parser.get();
  const auto field = [&](http::field name) { return view(message[name]); };
  return {.method = view(message.method_string()),
          .target = view(message.target()),
          .n_hosts = static_cast<int>(message.count(http::field::host)),
          .host = field(http::field::host),
          .accept_encoding = field(http::field::accept_encoding),
          .if_none_match = field(http::field::if_none_match),
          .cache_control = field(http::field::cache_control),
          .authorization = field(http::field::authorization),
          .content_type = field(http::field::content_type),
          .origin = field(http::field::origin),
          .fetch_site = view(message["Sec-Fetch-Site"]),
          .body = message.body()};
}

// As sent, but for space around values. Beast's own limit lets many short fields through.
std::size_t size_of_header(const Parser& parser) {
  const auto& message = parser.get();
  std::size_t n_bytes = message.method_string().size() + message.target().size() + 14;
  for (const auto& field : message)
    n_bytes += field.name_string().size() + field.value().size() + 4;
  return n_bytes;
}

// What to say to a request that could not be read; none: nobody is there to hear it.
std::optional<Answer> complaint(const error_code& error, Counters& counters) {
  if (error == http::error::header_limit || error == http::error::buffer_overflow) {
    ++counters.refused["header_bytes"];
    return problem(431, "the request's header is too long");
  }
  if (error == http::error::body_limit) {
    ++counters.refused["body_bytes"];
    return problem(413, "the request's body is too long");
  }
  if (error == beast::error::timeout) {
    ++counters.refused["time"];
    return {};
  }
  if (error == http::error::bad_version) {
    return problem(505, "this server speaks HTTP/1.1 and HTTP/1.0");
  }
  // Everything else from the parser is a request out of form; the rest comes from the socket.
  if (error.category() == make_error_code(http::error::bad_method).category() &&
      error != http::error::end_of_stream && error != http::error::partial_message) {
    return problem(400, "this is not an HTTP request: " + error.message());
  }
  return {};
}

class Session {
 public:
  Session(asio::ip::tcp::socket socket, Shared& shared)
      : stream_(std::move(socket)),
        shared_(shared),
        buffer_(64 * 1024),
        client_(client_of(stream_.socket())),
        answered_(stream_.get_executor()) {}

  asio::awaitable<void> run() {
    // What one request leaves in the buffer is the beginning of the next (pipelining).
    // Not `while (co_await one_request()) {}`: g++ 12 resumes that at no valid point (SIGILL).
    for (;;) {
      const bool is_open = co_await one_request();
      if (!is_open) co_return;
    }
  }

 private:
  // False: the connection is over.
  asio::awaitable<bool> one_request() {
    error_code error;
    if (buffer_.size() == 0) {
      stream_.expires_after(shared_.limits.idle_time);
      const std::size_t n_read = co_await stream_.async_read_some(
          buffer_.prepare(4096), asio::redirect_error(asio::use_awaitable, error));
      if (error) co_return false;
      buffer_.commit(n_read);
    }

    Parser parser;
    parser.header_limit(static_cast<std::uint32_t>(shared_.limits.header_bytes));
    parser.body_limit(shared_.limits.body_bytes);
    stream_.expires_after(shared_.limits.header_time);
    co_await http::async_read_header(stream_, buffer_, parser,
                                     asio::redirect_error(asio::use_awaitable, error));
    if (!error && size_of_header(parser) > shared_.limits.header_bytes) {
      error = make_error_code(http::error::header_limit);
    }
    if (!error && !parser.is_done()) {
      stream_.expires_after(shared_.limits.body_time);
      if (is_waiting_to_send_body(parser)) {
        co_await asio::async_write(stream_, asio::buffer("HTTP/1.1 100 Continue\r\n\r\n", 25),
                                   asio::redirect_error(asio::use_awaitable, error));
      }
      if (!error) {
        co_await http::async_read(stream_, buffer_, parser,
                                  asio::redirect_error(asio::use_awaitable, error));
      }
    }
    if (error) {
      co_await refuse(error);
      co_return false;
    }
    const bool stays_open = co_await answer(parser);
    co_return stays_open;
  }

  static bool is_waiting_to_send_body(const Parser& parser) {
    return parser.get().version() == 11 &&
           beast::iequals(parser.get()[http::field::expect], "100-continue");
  }

  asio::awaitable<void> refuse(error_code error) {
    auto answer = complaint(error, shared_.counters);
    if (!answer) co_return;
    co_await send(reply(rendered(std::move(*answer)), {}, 11, false, shared_.now_s()));
    co_await linger();
  }

  asio::awaitable<bool> answer(const Parser& parser) {
    const Request request = read_fields(parser);
    const unsigned version = parser.get().version();
    if (version != 10 && version != 11) {
      co_await refuse(make_error_code(http::error::bad_version));
      co_return false;
    }
    Live live;
    Decision decision = shared_.door.decide(request, [&]() -> Standing {
      live = shared_.live();
      return {live, shared_.counters, shared_.store_bytes()};
    });

    if (std::holds_alternative<Events>(decision)) {
      if (shared_.events.has_room()) {
        co_await attend_events(request, version);
        co_return false;
      }
      ++shared_.counters.refused["event_clients"];
      decision = std::make_shared<const Rendered>(
          render(problem(503, "too many readers of live events; close one")));
    }
    std::optional<std::chrono::seconds> age;
    if (auto* work = std::get_if<Work>(&decision)) {
      auto given = co_await ask_desk(std::move(*work));
      if (!given) co_return false;
      if (!given->answer) {
        ++shared_.counters.refused["queued_answers"];
        given->answer = std::make_shared<const Rendered>(
            render(problem(503, "too many answers are being worked out; ask again")));
      }
      // Said of what is right, too: a client that still has it (304) keeps the fields it is not
      // told anew, and with them the age of then.
      age = given->age.value_or(std::chrono::seconds(0));
      decision = std::move(given->answer);
    }

    const bool stays = parser.keep_alive();
    const auto response =
        reply(std::get<Ready>(decision), request, version, stays, shared_.now_s(), age);
    const bool is_sent = co_await send(response);
    co_return is_sent&& stays;
  }

  asio::awaitable<bool> send(Response response) {
    ++shared_.counters.answers[static_cast<int>(response.result_int())];
    error_code error;
    stream_.expires_after(shared_.limits.write_time);
    co_await http::async_write(stream_, response, asio::redirect_error(asio::use_awaitable, error));
    if (error == beast::error::timeout) ++shared_.counters.refused["write_time"];
    if (!error && !response.keep_alive()) {
      stream_.socket().shutdown(asio::ip::tcp::socket::shutdown_send, error);
    }
    co_return !error;
  }

  // Reads on for a moment: closing on unread bytes would reset the connection, and the client
  // might never see what it was told (RFC 9112, section 9.6).
  asio::awaitable<void> linger() {
    error_code error;
    stream_.expires_after(std::chrono::seconds(1));
    std::size_t n_more = 256 * 1024;
    while (!error) {
      buffer_.clear();
      const std::size_t n_read = co_await stream_.async_read_some(
          buffer_.prepare(16 * 1024), asio::redirect_error(asio::use_awaitable, error));
      if (n_read >= n_more) break;
      n_more -= n_read;
    }
  }

  asio::awaitable<void> attend_events(const Request& request, unsigned version) {
    Response header = event_stream_header(version, shared_.now_s());
    ++shared_.counters.answers[200];
    http::response_serializer<SharedBody> serializer(header);
    error_code error;
    stream_.expires_after(shared_.limits.write_time);
    co_await http::async_write_header(stream_, serializer,
                                      asio::redirect_error(asio::use_awaitable, error));
    if (error || request.method == "HEAD") co_return;
    stream_.expires_never();
    co_await shared_.events.attend(stream_.release_socket());
  }

  // None: the client has ended the connection. To notice, it is read on meanwhile; what comes is
  // the beginning of the next request (pipelining).
  asio::awaitable<std::optional<Given>> ask_desk(Work work) {
    struct Awaited {
      std::optional<Given> given;
      Session* session;  // null once it waits no longer
    };
    struct Leaving {
      std::shared_ptr<Awaited> awaited;
      ~Leaving() { awaited->session = nullptr; }
    };
    stream_.expires_never();
    answered_.expires_at(asio::steady_timer::time_point::max());
    const auto awaited = std::make_shared<Awaited>(Awaited{{}, this});
    const Leaving leaving{awaited};
    auto done = [awaited, executor = stream_.get_executor()](Given given) {
      asio::post(executor, [awaited, given = std::move(given)]() mutable {
        awaited->given = std::move(given);
        if (!awaited->session) return;
        awaited->session->stream_.cancel();
        awaited->session->answered_.cancel();
      });
    };
    const auto ticket = shared_.desk.ask(std::move(work), std::move(done), client_);
    while (!awaited->given) {
      error_code error;
      const std::size_t n_room = std::min<std::size_t>(buffer_.max_size() - buffer_.size(), 4096);
      if (n_room == 0) {
        co_await answered_.async_wait(asio::redirect_error(asio::use_awaitable, error));
        continue;
      }
      const std::size_t n_read = co_await stream_.async_read_some(
          buffer_.prepare(n_room), asio::redirect_error(asio::use_awaitable, error));
      buffer_.commit(n_read);
      if (error && !awaited->given) {
        shared_.desk.leave(ticket);
        co_return std::nullopt;
      }
    }
    co_return std::move(awaited->given);
  }

  beast::tcp_stream stream_;
  Shared& shared_;
  beast::flat_buffer buffer_;
  const std::string client_;
  asio::steady_timer answered_;  // never expires: cancelled when the desk has answered
};

}  // namespace

std::string client_of(const asio::ip::tcp::socket& socket) {
  error_code ignored;
  return socket.remote_endpoint(ignored).address().to_string();
}

asio::awaitable<void> serve_connection(asio::ip::tcp::socket socket, Shared& shared) {
  Session session(std::move(socket), shared);
  co_await session.run();
}

}  // namespace roundel::serve
