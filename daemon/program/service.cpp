#include "daemon/program/service.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <charconv>
#include <chrono>
#include <cstdlib>
#include <cstring>
#include <string_view>

namespace roundel::program {
namespace {

std::string_view variable(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::string_view() : std::string_view(value);
}

// 0: not a number.
long long number(std::string_view text) {
  long long value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  return error == std::errc{} && end == text.data() + text.size() ? value : 0;
}

}  // namespace

Service::Service(boost::asio::io_context& io) : timer_(io) {
  const auto path = variable("NOTIFY_SOCKET");
  // A path, or an abstract name with @ for the byte 0 that it begins with.
  if (path.size() > 1 && path.size() < sizeof(sockaddr_un::sun_path) &&
      (path.front() == '/' || path.front() == '@')) {
    socket_ = path;
    if (socket_.front() == '@') socket_.front() = '\0';
  }
  const auto process = variable("WATCHDOG_PID");
  if (process.empty() || number(process) == ::getpid())
    interval_s_ = static_cast<double>(number(variable("WATCHDOG_USEC"))) / 2e6;
}

void Service::ready() { send("READY=1\nSTATUS=recording"); }

void Service::stopping() {
  send("STOPPING=1\nSTATUS=writing what is left");
  is_stopping_ = true;
  timer_.cancel();
}

void Service::watch(std::function<bool()> is_alive) {
  is_alive_ = std::move(is_alive);
  if (!socket_.empty() && interval_s_ > 0) beat();
}

void Service::send(const std::string& state) const {
  if (socket_.empty()) return;
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, socket_.data(), socket_.size());
  const int handle = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (handle < 0) return;
  // Whether it is heard is the manager's affair; recording goes on either way.
  (void)::sendto(handle, state.data(), state.size(), MSG_NOSIGNAL,
                 reinterpret_cast<const sockaddr*>(&address),
                 static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + socket_.size()));
  ::close(handle);
}

void Service::beat() {
  if (is_alive_()) send("WATCHDOG=1");
  timer_.expires_after(std::chrono::duration_cast<std::chrono::steady_clock::duration>(
      std::chrono::duration<double>(interval_s_)));
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (!error && !is_stopping_) beat();
  });
}

}  // namespace roundel::program
