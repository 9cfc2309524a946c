#include "daemon/serve/reply.h"

#include <fmt/format.h>

#include <cmath>
#include <ctime>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "daemon/serve/gzip.h"

namespace roundel::serve {
namespace {

namespace http = boost::beast::http;

// Nothing but our own files may run or be drawn, and nobody may frame the page.
constexpr std::string_view content_policy =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'";

boost::beast::string_view beast_view(std::string_view text) { return {text.data(), text.size()}; }

void set_common(Response& response, double now_s) {
  response.set(http::field::date, http_date(now_s));
  response.set("Content-Security-Policy", beast_view(content_policy));
  response.set("X-Content-Type-Options", "nosniff");
  response.set("Referrer-Policy", "no-referrer");
  response.set("Cross-Origin-Resource-Policy", "same-origin");
}

// A strong tag names exact bytes, so the two forms of one content need two.
std::string compressed_tag(const std::string& etag) {
  return etag.empty() ? etag : etag.substr(0, etag.size() - 1) + "-gzip\"";
}

}  // namespace

std::string http_date(double time_s) {
  constexpr const char* days[] = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  constexpr const char* months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                    "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const auto whole = static_cast<std::time_t>(std::floor(time_s));
  std::tm utc{};
  gmtime_r(&whole, &utc);
  // Not strftime, whose names of days follow the locale.
  return fmt::format("{}, {:02} {} {:04} {:02}:{:02}:{:02} GMT", days[utc.tm_wday], utc.tm_mday,
                     months[utc.tm_mon], utc.tm_year + 1900, utc.tm_hour, utc.tm_min, utc.tm_sec);
}

Response reply(const std::shared_ptr<const Rendered>& rendered, const Request& request,
               unsigned version, bool keep_alive, double now_s,
               std::optional<std::chrono::seconds> age) {
  const Answer& answer = rendered->answer;
  const std::string& gzipped = rendered->gzipped;
  const bool is_compressed = !gzipped.empty() && accepts_gzip(request.accept_encoding);
  const std::string etag = is_compressed ? compressed_tag(rendered->etag) : rendered->etag;
  // The client may hold either form; both are of this content.
  const bool is_reading = request.method == "GET" || request.method == "HEAD";
  const bool is_known =
      is_reading &&
      (names_tag(request.if_none_match, rendered->etag) ||
       (!gzipped.empty() && names_tag(request.if_none_match, compressed_tag(rendered->etag))));

  Response response;
  response.version(version);
  response.result(is_known ? 304U : static_cast<unsigned>(answer.status));
  response.reason(beast_view(phrase(is_known ? 304 : answer.status)));
  set_common(response, now_s);
  response.set(http::field::cache_control, answer.cache_control);
  if (!gzipped.empty()) response.set(http::field::vary, "Accept-Encoding");
  if (!etag.empty()) response.set(http::field::etag, etag);
  if (age) response.set(http::field::age, std::to_string(age->count()));
  for (const auto& [name, value] : answer.headers) response.set(name, value);
  response.keep_alive(keep_alive);
  if (is_known) return response;  // no content, and no length of it

  response.set(http::field::content_type, answer.content_type);
  if (is_compressed) response.set(http::field::content_encoding, "gzip");
  SharedBody::value_type body{rendered, is_compressed ? gzipped : answer.body};
  if (!is_compressed && answer.body.empty() && !gzipped.empty()) {
    const auto unpacked = std::make_shared<const std::string>(gunzip(gzipped).value_or(""));
    body = {unpacked, *unpacked};
  }
  response.content_length(body.bytes.size());
  if (request.method != "HEAD") response.body() = std::move(body);
  return response;
}

Response event_stream_header(unsigned version, double now_s) {
  Response response;
  response.version(version);
  response.result(http::status::ok);
  set_common(response, now_s);
  response.set(http::field::content_type, "text/event-stream");
  response.set(http::field::cache_control, "no-store");
  response.keep_alive(false);
  return response;
}

}  // namespace roundel::serve
