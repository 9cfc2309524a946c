// What of a request decides its answer, without the connection it came by.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace roundel::serve {

/// Views into a request that outlives this. A field that was not sent is empty.
struct Request {
  std::string_view method{};  ///< "GET"
  std::string_view target{};  ///< as sent: "/api/reach?antenna=spider"
  int n_hosts = 0;            ///< how many Host fields there were
  std::string_view host{};
  std::string_view accept_encoding{}, if_none_match{}, cache_control{};
  std::string_view authorization{}, content_type{}, origin{}, fetch_site{};
  std::string_view body{};
};

/// A target taken apart, RFC 9112 section 3.2: origin-form, or absolute-form with its authority.
struct Target {
  bool is_valid = false;
  std::string_view authority;  ///< absolute-form only; goes before the Host field
  std::string_view path, query;
};
Target read_target(std::string_view target);

/// Whether a page reached under this name may be ours: addresses, localhost and `names`. Any other
/// name may have been pointed at us by its owner (DNS rebinding), to read what is not theirs.
/// @param host  as in the Host field, with or without port
bool is_own_host(std::string_view host, const std::vector<std::string>& names);

/// Whether "gzip" may be used, by an Accept-Encoding field (RFC 9110, section 12.5.3).
bool accepts_gzip(std::string_view accept_encoding);

/// Whether an If-None-Match field names this tag (RFC 9110, section 13.1.2: weak comparison).
bool names_tag(std::string_view if_none_match, std::string_view etag);

/// Whether a Cache-Control field of a request asks for "no-cache" (RFC 9111, section 5.2.1.4), as a
/// browser's does when a page is reloaded past its cache.
bool demands_new(std::string_view cache_control);

/// Takes the same time wherever two texts of the same length differ.
bool is_equal_in_constant_time(std::string_view a, std::string_view b);

}  // namespace roundel::serve
