// What a handler answers, before it becomes bytes on a connection.
#pragma once
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/serve/gzip.h"
#include "roundel/result.h"

namespace roundel::serve {

inline constexpr std::string_view json_type = "application/json";

struct Answer {
  int status = 200;
  std::string content_type{json_type};
  std::string body{};
  std::string cache_control = "no-cache";  ///< kept by clients, but asked for again (ETag)
  std::vector<std::pair<std::string, std::string>> headers{};  ///< besides those every answer has
};

/// The one place where an error becomes an HTTP status.
int http_status(Errc code);

/// RFC 9457 problem details. `title` is the status' own phrase, `detail` the error's line.
Answer problem(int status, std::string_view detail);
Answer problem(const Error& error);

/// The standard phrase (RFC 9110, section 15), "Unknown" for others than those used here.
std::string_view phrase(int status);

/// An answer made ready to be sent many times: tagged, and compressed where that pays.
struct Rendered {
  Answer answer;
  std::string etag;     ///< strong, in quotes, of the content; empty for errors
  std::string gzipped;  ///< empty: not worth it
};

/// Compresses text of more than 1 kB; tags answers of status 200.
Rendered render(Answer answer, Effort effort = Effort::usual);
/// The same of an answer, or of the problem instead of one.
std::shared_ptr<const Rendered> rendered(Result<Answer> result, Effort effort = Effort::usual);

/// A strong entity tag of these bytes, in its quotes.
std::string entity_tag(std::string_view bytes);

}  // namespace roundel::serve
