#include "daemon/serve/request.h"

#include <arpa/inet.h>

#include <algorithm>

namespace roundel::serve {
namespace {

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool is_same_word(std::string_view a, std::string_view b) {
  return std::ranges::equal(a, b, [](char x, char y) { return lower(x) == lower(y); });
}

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

std::string_view take_until(std::string_view& rest, char separator) {
  const auto end = std::min(rest.find(separator), rest.size());
  const auto piece = rest.substr(0, end);
  rest.remove_prefix(std::min(end + 1, rest.size()));
  return piece;
}

bool is_port(std::string_view text) {
  return text.size() <= 5 && std::ranges::all_of(text, [](char c) { return c >= '0' && c <= '9'; });
}

bool is_address(int family, std::string_view text) {
  unsigned char out[sizeof(in6_addr)];
  // A NUL within would end the text for inet_pton, whatever follows.
  return text.size() <= INET6_ADDRSTRLEN && text.find('\0') == std::string_view::npos &&
         inet_pton(family, std::string(text).c_str(), out) == 1;
}

// RFC 9110, section 12.4.2: q=0 means "not acceptable"; more than 0 does for us.
bool is_refused(std::string_view parameters) {
  while (!parameters.empty()) {
    std::string_view parameter = trimmed(take_until(parameters, ';'));
    const std::string_view name = trimmed(take_until(parameter, '='));
    if (!is_same_word(name, "q")) continue;
    const std::string_view value = trimmed(parameter);
    return !value.empty() && value.find_first_not_of("0.") == std::string_view::npos;
  }
  return false;
}

}  // namespace

Target read_target(std::string_view target) {
  Target out;
  constexpr std::string_view scheme = "http://";
  if (target.size() > scheme.size() && is_same_word(target.substr(0, scheme.size()), scheme)) {
    target.remove_prefix(scheme.size());
    const auto end = std::min(target.find_first_of("/?"), target.size());
    out.authority = target.substr(0, end);
    target.remove_prefix(end);
    if (out.authority.empty()) return out;
  } else if (target.empty() || target.front() != '/') {
    return out;
  }
  // A fragment is the client's own affair and must not be sent.
  if (target.find('#') != std::string_view::npos) return out;
  out.path = take_until(target, '?');
  if (out.path.empty()) out.path = "/";  // absolute-form may end with the authority
  out.query = target;
  out.is_valid = true;
  return out;
}

bool is_own_host(std::string_view host, const std::vector<std::string>& names) {
  if (!host.empty() && host.front() == '[') {
    const auto end = host.find(']');
    if (end == std::string_view::npos) return false;
    const std::string_view after = host.substr(end + 1);
    return is_address(AF_INET6, host.substr(1, end - 1)) &&
           (after.empty() || (after.front() == ':' && is_port(after.substr(1))));
  }
  std::string_view rest = host;
  std::string_view name = take_until(rest, ':');
  if (!is_port(rest)) return false;
  if (is_address(AF_INET, name)) return true;
  if (!name.empty() && name.back() == '.') name.remove_suffix(1);  // the root, written out
  return is_same_word(name, "localhost") ||
         std::ranges::any_of(names, [&](const auto& own) { return is_same_word(name, own); });
}

bool accepts_gzip(std::string_view accept_encoding) {
  bool any = false;
  while (!accept_encoding.empty()) {
    std::string_view part = take_until(accept_encoding, ',');
    const std::string_view coding = trimmed(take_until(part, ';'));
    if (is_same_word(coding, "gzip") || is_same_word(coding, "x-gzip")) return !is_refused(part);
    if (coding == "*") any = !is_refused(part);
  }
  return any;
}

bool names_tag(std::string_view if_none_match, std::string_view etag) {
  if (etag.empty()) return false;
  std::string_view rest = trimmed(if_none_match);
  if (rest == "*") return true;
  // Tags are quoted and may hold commas, so they are read one by one and not split.
  while (!rest.empty()) {
    if (rest.substr(0, 2) == "W/") rest.remove_prefix(2);
    if (rest.empty() || rest.front() != '"') return false;
    const auto end = rest.find('"', 1);
    if (end == std::string_view::npos) return false;
    if (rest.substr(0, end + 1) == etag) return true;
    rest = trimmed(rest.substr(end + 1));
    if (!rest.empty() && rest.front() == ',') rest = trimmed(rest.substr(1));
  }
  return false;
}

bool demands_new(std::string_view cache_control) {
  while (!cache_control.empty())
    if (is_same_word(trimmed(take_until(cache_control, ',')), "no-cache")) return true;
  return false;
}

bool is_equal_in_constant_time(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  // volatile: the compiler must not find out that it could stop early.
  volatile unsigned char difference = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    difference = static_cast<unsigned char>(difference | (a[i] ^ b[i]));
  }
  return difference == 0;
}

}  // namespace roundel::serve
