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

Result<PolledSource> parse_get(std::string_view text) {
  constexpr std::string_view scheme = "http://";
  if (text.starts_with("https://"))
    return fail(Errc::bad_config, "TLS is not spoken", {},
                "use http:// on your own network, or a proxy on this computer that speaks TLS");
  if (!text.starts_with(scheme)) return refuse("does not begin with http://");
  text.remove_prefix(scheme.size());
  const auto slash = std::min(text.find('/'), text.size());
  std::string place(text.substr(0, slash)), path(text.substr(slash));
  if (path.empty()) path = "/";
  // A request's target is visible ASCII (RFC 9112, section 3.2); a fragment stays with the client.
  if (!std::all_of(path.begin(), path.end(), [](char c) { return c > 0x20 && c < 0x7f; }) ||
      path.find('#') != std::string::npos)
    return refuse("the path holds a blank, a \"#\" or a character beyond ASCII");
  if (place.find('@') != std::string::npos) return refuse("a user name is not sent");
  const bool has_port = place.starts_with('[') ? place.find("]:") != std::string::npos
                                               : place.find(':') != std::string::npos;
  const auto endpoint = parse_connect(has_port ? place : place + ":80");
  if (!endpoint) return tl::unexpected(endpoint.error());
  return PolledSource{*endpoint, std::move(path)};
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
