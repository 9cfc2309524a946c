// From an answer to HTTP: the one place where header fields are set.
#pragma once
#include <boost/beast/http/message.hpp>
#include <chrono>
#include <memory>
#include <optional>
#include <string_view>

#include "daemon/serve/answer.h"
#include "daemon/serve/request.h"
#include "daemon/serve/shared_body.h"

namespace roundel::serve {

/// The one type of response.
using Response = boost::beast::http::response<SharedBody>;

/// Chooses between 304, compressed and plain by the request's fields, leaves the body out for HEAD
/// (its length stays), sets the fields every answer carries.
/// @param version  10 or 11  @param keep_alive  whether the connection stays open
/// @param age  for the Age field (RFC 9111, section 5.1): since it was worked out, where newer
///   cells are not in it; 0 of what is right. None: without one
Response reply(const std::shared_ptr<const Rendered>& rendered, const Request& request,
               unsigned version, bool keep_alive, double now_s,
               std::optional<std::chrono::seconds> age = {});

/// The header of the stream of live events, which ends with its connection.
Response event_stream_header(unsigned version, double now_s);

/// "Sun, 06 Nov 1994 08:49:37 GMT" (RFC 9110, section 5.6.7).
std::string http_date(double time_s);

}  // namespace roundel::serve
