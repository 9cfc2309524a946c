#include "analysis/config/address.h"

#include <arpa/inet.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>

namespace roundel::config {
namespace {

struct Parts {
  std::string host;
  bool bracketed = false;
  int port{};
};

tl::unexpected<Error> refuse(std::string what) { return fail(Errc::bad_config, std::move(what)); }

bool is_numeric(const std::string& host, int family) {
  std::array<unsigned char, 16> bytes{};
  return inet_pton(family, host.c_str(), bytes.data()) == 1;
}

Result<Parts> split(std::string_view text, int lowest_port) {
  Parts out;
  std::string_view rest = text;
  if (rest.starts_with('[')) {
    const auto close = rest.find(']');
    if (close == std::string_view::npos) return refuse("\"[\" is not closed");
    out.host = rest.substr(1, close - 1);
    out.bracketed = true;
    rest.remove_prefix(close + 1);
  } else {
    const auto colon = rest.find(':');
    if (colon != rest.rfind(':')) return refuse("an IPv6 address stands in brackets: [::1]:1234");
    out.host = rest.substr(0, colon);
    rest.remove_prefix(std::min(colon, rest.size()));
  }
  if (!rest.starts_with(':')) return refuse("no port");
  rest.remove_prefix(1);
  const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), out.port);
  if (rest.empty() ||
      !std::all_of(rest.begin(), rest.end(), [](char c) { return c >= '0' && c <= '9'; }))
    return refuse(fmt::format("port \"{}\" is not a number", rest));
  if (error != std::errc{} || out.port < lowest_port || out.port > 65535)
    return refuse(fmt::format("port {} is outside {} to 65535", rest, lowest_port));
  if (out.bracketed && !is_numeric(out.host, AF_INET6))
    return refuse(fmt::format("\"{}\" is not an IPv6 address", out.host));
  return out;
}

}  // namespace

Result<Endpoint> parse_connect(std::string_view text) {
  Result<Parts> parts = split(text, 1);
  if (!parts) return tl::unexpected(parts.error());
  if (parts->host.empty()) return refuse("no host");
  // Letters, digits, hyphens, dots (RFC 1123), and the underscore that local networks use.
  const auto is_host_character = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '.' || c == '_';
  };
  if (!parts->bracketed &&
      (parts->host.size() > 253 ||
       !std::all_of(parts->host.begin(), parts->host.end(), is_host_character)))
    return refuse(fmt::format("\"{}\" is not a host name", parts->host));
  return Endpoint{parts->host, parts->port};
}

Result<Endpoint> parse_listen(std::string_view text) {
  Result<Parts> parts = split(text, 0);
  if (!parts) return tl::unexpected(parts.error());
  if (!parts->bracketed && (parts->host.empty() || parts->host == "localhost"))
    return Endpoint{"127.0.0.1", parts->port};
  if (!parts->bracketed && !is_numeric(parts->host, AF_INET))
    return refuse(fmt::format("\"{}\" is not a numeric address of this computer", parts->host));
  return Endpoint{parts->host, parts->port};
}

}  // namespace roundel::config
