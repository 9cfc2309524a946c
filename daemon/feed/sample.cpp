#include "daemon/feed/sample.h"

#include <fmt/format.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/connect.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <chrono>
#include <cstring>
#include <memory>

#include "daemon/feed/field_value.h"
#include "roundel/feed/framer.h"

namespace roundel::feed {
namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using Clock = std::chrono::steady_clock;

namespace {

// Enough of documents that are long: a sample is to be looked at in a second.
constexpr std::size_t max_sample_bytes = 4 << 20;

// What has arrived, as lines and as a judgement whether it is text at all.
class Collector {
 public:
  explicit Collector(std::size_t max_lines) : max_lines_(max_lines) {}

  void feed(std::string_view bytes) {
    n_bytes_ += bytes.size();
    binary_ = binary_ || is_binary(bytes);
    if (head_.empty()) head_ = bytes.substr(0, 1000);
    framer_.feed(bytes, [this](std::string_view line) { keep(line); });
  }
  // A file's last line needs no end; a connection's may have been cut.
  void finish() {
    framer_.finish([this](std::string_view line) { keep(line); });
  }
  bool is_full() const {
    return binary_ || lines_.size() >= max_lines_ || n_bytes_ >= max_sample_bytes;
  }
  std::size_t n_bytes() const { return n_bytes_; }

  Result<Sample> take(const std::string& where) {
    if (binary_)
      return fail(Errc::malformed, "sends binary data, not lines of text", where,
                  "use the receiver's text output");
    if (lines_.empty()) {
      const bool is_json = trimmed(head_).starts_with('{') || trimmed(head_).starts_with('[');
      return fail(
          Errc::malformed,
          is_json ? fmt::format("{} bytes arrived, JSON documents without line ends", n_bytes_)
          : framer_.too_long() > 0
              ? fmt::format("no line is shorter than {} bytes", config::most_line_bytes)
              : fmt::format("{} bytes arrived, but no whole line", n_bytes_),
          where,
          is_json ? "each document must end in a line end, or it can't be told from the next"
                  : "lines must end in LF or CR LF");
    }
    Sample sample;
    sample.lines = std::move(lines_);
    sample.n_too_long = framer_.too_long();
    return sample;
  }

 private:
  void keep(std::string_view line) {
    if (lines_.size() < max_lines_) lines_.emplace_back(line);
  }

  std::size_t max_lines_;
  LineFramer framer_{config::most_line_bytes};
  std::string head_;
  std::vector<std::string> lines_;
  std::size_t n_bytes_ = 0;
  bool binary_ = false;
};

std::chrono::steady_clock::duration ticks(double seconds) {
  return std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
}

Result<tcp::socket> connect(asio::io_context& io, const config::Endpoint& endpoint,
                            const std::string& where, double silence_s) {
  error_code error;
  tcp::resolver resolver(io);
  const auto addresses = resolver.resolve(endpoint.host, std::to_string(endpoint.port),
                                          tcp::resolver::numeric_service, error);
  if (error)
    return fail(Errc::io, fmt::format("cannot find {}: {}", endpoint.host, error.message()), where,
                "check the name");
  tcp::socket socket(io);
  bool is_done = false;
  asio::async_connect(socket, addresses, [&](error_code result, const tcp::endpoint&) {
    error = result;
    is_done = true;
  });
  io.run_for(ticks(silence_s));
  if (!is_done) {
    error_code ignored;
    socket.close(ignored);
    io.restart();
    io.run();  // the handler touches what is about to go
    return fail(Errc::io, fmt::format("no answer in {:g} s", silence_s), where,
                "check address and firewall");
  }
  if (error)
    return fail(Errc::io, fmt::format("cannot connect: {}", error.message()), where,
                "check that the feed is running there");
  return socket;
}

struct CloseGzip {
  void operator()(gzFile file) const { gzclose(file); }
};

}  // namespace

bool is_binary(std::string_view bytes) {
  const auto is_control = [](char c) {
    return (static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\r' && c != '\t') ||
           c == 0x7f;
  };
  const auto n_control =
      static_cast<std::size_t>(std::count_if(bytes.begin(), bytes.end(), is_control));
  return bytes.find('\0') != std::string_view::npos || n_control * 20 > bytes.size();
}

Result<Sample> sample_endpoint(const config::Endpoint& endpoint, const SampleLimits& limits) {
  const std::string where = endpoint.host.find(':') == std::string::npos
                                ? fmt::format("{}:{}", endpoint.host, endpoint.port)
                                : fmt::format("[{}]:{}", endpoint.host, endpoint.port);
  asio::io_context io;
  auto socket = connect(io, endpoint, where, limits.silence_s);
  if (!socket) return tl::unexpected(socket.error());

  Collector collector(limits.max_lines);
  std::array<char, 16384> buffer;
  bool has_ended = false;
  const Clock::time_point start = Clock::now();
  Clock::time_point first_byte = start, deadline = start + ticks(limits.silence_s);
  const std::function<void()> read = [&] {
    socket->async_read_some(asio::buffer(buffer), [&](error_code error, std::size_t n_bytes) {
      if (collector.n_bytes() == 0 && n_bytes > 0) {
        first_byte = Clock::now();
        deadline = first_byte + ticks(limits.max_s);
      }
      collector.feed({buffer.data(), n_bytes});
      has_ended = static_cast<bool>(error);
      if (!has_ended && !collector.is_full()) read();
    });
  };
  read();
  io.restart();
  // Run out of work: it ended, or there is enough.
  while (!io.stopped() && Clock::now() < deadline) io.run_one_until(deadline);
  const double took_s = std::chrono::duration<double>(Clock::now() - first_byte).count();
  const bool feed_ended = has_ended;
  error_code ignored;
  socket->close(ignored);  // the read that waits ends too, but that is our doing
  io.restart();
  io.run();

  if (collector.n_bytes() == 0)
    return fail(Errc::io,
                feed_ended ? std::string("closed the connection without sending anything")
                           : fmt::format("nothing arrived in {:g} s", limits.silence_s),
                where, "check that it sends position reports, as text, without being asked");
  // An end is an end: what came before it is a line.
  if (feed_ended) collector.finish();
  auto sample = collector.take(where);
  if (sample) sample->took_s = took_s;
  return sample;
}

Result<Sample> sample_file(const std::filesystem::path& file, const SampleLimits& limits) {
  const bool is_standard_input = file == "-";
  const std::string where = is_standard_input ? "standard input" : file.string();
  std::error_code error;
  if (!is_standard_input && std::filesystem::is_directory(file, error))
    return fail(Errc::io, "is a folder", where, "name a file");
  const std::unique_ptr<gzFile_s, CloseGzip> in(is_standard_input ? gzdopen(dup(STDIN_FILENO), "rb")
                                                                  : gzopen(file.c_str(), "rb"));
  if (!in)
    return fail(errno == ENOENT ? Errc::not_found : Errc::io,
                fmt::format("cannot read: {}", std::strerror(errno)), where);

  Collector collector(limits.max_lines);
  std::array<char, 65536> buffer;
  int n_bytes = 0;
  while (!collector.is_full() &&
         (n_bytes = gzread(in.get(), buffer.data(), static_cast<unsigned>(buffer.size()))) > 0)
    collector.feed({buffer.data(), static_cast<std::size_t>(n_bytes)});
  if (!collector.is_full()) {
    int code = Z_OK;
    const char* const reason = gzerror(in.get(), &code);
    if (n_bytes < 0 || code == Z_BUF_ERROR)
      return fail(code == Z_ERRNO ? Errc::io : Errc::corrupt,
                  code == Z_ERRNO ? std::string(std::strerror(errno))
                                  : fmt::format("damaged gzip data: {}", reason),
                  where);
    collector.finish();
  }
  if (collector.n_bytes() == 0) return fail(Errc::too_little, "is empty", where);
  return collector.take(where);
}

}  // namespace roundel::feed
