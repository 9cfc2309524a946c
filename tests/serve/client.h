// A plain blocking client for tests. Waits are bounded by a minute, so that a test that would hang
// fails; nothing else is timed.
#pragma once
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <map>
#include <string>
#include <string_view>
#include <utility>

namespace roundel::serve {

struct Received {
  int status = 0;
  std::map<std::string, std::string> fields;  ///< names in lower case
  std::string body;
};

class Client {
 public:
  /// @param receive_buffer  of the kernel, bytes; 0: as it is
  /// @param from            an address of this machine
  explicit Client(int port, int receive_buffer = 0, in_addr_t from = INADDR_LOOPBACK)
      : socket_(::socket(AF_INET, SOCK_STREAM, 0)) {
    const timeval minute{.tv_sec = 60, .tv_usec = 0};
    ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &minute, sizeof minute);
    ::setsockopt(socket_, SOL_SOCKET, SO_SNDTIMEO, &minute, sizeof minute);
    if (receive_buffer > 0) {
      ::setsockopt(socket_, SOL_SOCKET, SO_RCVBUF, &receive_buffer, sizeof receive_buffer);
    }
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(from);
    EXPECT_EQ(::bind(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
    address.sin_port = htons(static_cast<std::uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    EXPECT_EQ(::connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof address), 0);
  }
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;
  ~Client() { ::close(socket_); }

  /// False: the other side has ended the connection.
  bool send(std::string_view bytes) {
    while (!bytes.empty()) {
      const auto n = ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (n <= 0) return false;
      bytes.remove_prefix(static_cast<std::size_t>(n));
    }
    return true;
  }
  void finish_sending() { ::shutdown(socket_, SHUT_WR); }

  /// Reads until `mark` has come; up to it and with it. What follows stays for the next call.
  std::string read_until(std::string_view mark) {
    std::size_t at{};
    while ((at = buffer_.find(mark)) == std::string::npos) {
      if (!read_more()) return std::exchange(buffer_, {});
    }
    return take(at + mark.size());
  }
  std::string read_to_end() {
    while (read_more()) {
    }
    return std::exchange(buffer_, {});
  }
  /// True once the other side has ended the connection, by its end or a reset.
  bool is_ended() {
    if (!buffer_.empty()) return false;
    return !read_more() && is_ended_;
  }

  Received read_header() {
    Received out;
    std::string text = read_until("\r\n\r\n");
    if (!text.starts_with("HTTP/1.")) return out;
    out.status = std::stoi(text.substr(9, 3));
    std::size_t at = text.find("\r\n") + 2;
    while (at < text.size() && text.compare(at, 2, "\r\n") != 0) {
      const auto colon = text.find(':', at), end = text.find("\r\n", at);
      std::string name = text.substr(at, colon - at);
      std::ranges::transform(name, name.begin(), [](unsigned char c) { return std::tolower(c); });
      out.fields[name] = text.substr(colon + 2, end - colon - 2);
      at = end + 2;
    }
    return out;
  }
  Received read_response(bool has_body = true) {
    Received out = read_header();
    if (!has_body || out.status == 304 || out.status == 0) return out;
    const auto length = static_cast<std::size_t>(std::stoul(out.fields["content-length"]));
    while (buffer_.size() < length && read_more()) {
    }
    out.body = take(std::min(length, buffer_.size()));
    return out;
  }

  /// @param fields  further header fields, each ended by \r\n
  Received get(std::string_view target, std::string_view fields = "",
               std::string_view method = "GET") {
    send(std::string(method) + " " + std::string(target) + " HTTP/1.1\r\nHost: localhost\r\n" +
         std::string(fields) + "\r\n");
    return read_response(method != "HEAD");
  }

 private:
  bool read_more() {
    char piece[16384];
    const auto n = ::recv(socket_, piece, sizeof piece, 0);
    if (n > 0) {
      buffer_.append(piece, static_cast<std::size_t>(n));
      return true;
    }
    is_ended_ = n == 0 || errno == ECONNRESET;
    return false;
  }
  std::string take(std::size_t n) {
    std::string out = buffer_.substr(0, n);
    buffer_.erase(0, n);
    return out;
  }

  int socket_;
  std::string buffer_;
  bool is_ended_ = false;
};

}  // namespace roundel::serve
