#include "daemon/serve/answer.h"

#include <fmt/format.h>

#include <cstdint>
#include <nlohmann/json.hpp>
#include <regex>

namespace roundel::serve {

int http_status(Errc code) {
  switch (code) {
    case Errc::bad_usage:
    case Errc::bad_config:
    case Errc::out_of_range:
    case Errc::malformed:
      return 400;
    case Errc::not_found:
      return 404;
    case Errc::too_little:
      return 422;
    case Errc::busy:
    case Errc::not_a_store:
    case Errc::newer_schema:
      return 503;
    case Errc::disk_full:
      return 507;
    case Errc::corrupt:
    case Errc::io:
      return 500;
  }
  return 500;
}

std::string_view phrase(int status) {
  switch (status) {
    case 200:
      return "OK";
    case 201:
      return "Created";
    case 304:
      return "Not Modified";
    case 400:
      return "Bad Request";
    case 401:
      return "Unauthorized";
    case 403:
      return "Forbidden";
    case 404:
      return "Not Found";
    case 405:
      return "Method Not Allowed";
    case 413:
      return "Content Too Large";
    case 415:
      return "Unsupported Media Type";
    case 421:
      return "Misdirected Request";
    case 422:
      return "Unprocessable Content";
    case 431:
      return "Request Header Fields Too Large";
    case 500:
      return "Internal Server Error";
    case 503:
      return "Service Unavailable";
    case 505:
      return "HTTP Version Not Supported";
    case 507:
      return "Insufficient Storage";
    default:
      return "Unknown";
  }
}

Answer problem(int status, std::string_view detail) {
  // "type" is left out: RFC 9457 reads that as "about:blank", no more than the status says.
  const nlohmann::ordered_json body{
      {"title", phrase(status)}, {"status", status}, {"detail", detail}};
  Answer answer{.status = status,
                .content_type = "application/problem+json",
                // A path or header of the client's may hold anything; JSON holds only UTF-8.
                .body = body.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace) + "\n",
                .cache_control = "no-store"};
  if (status == 503) answer.headers.emplace_back("Retry-After", "2");
  return answer;
}

Answer problem(const Error& error) {
  // The rooms below name what they ask for as the command line's options; here these are keys.
  static const std::regex width("--sector-deg\\b");
  static const std::regex option("--(antenna|receiver|mount|trial|feed|from|to|a|b)\\b");
  const std::string text = std::regex_replace(error.line(), width, "sector_deg");
  return problem(http_status(error.code), std::regex_replace(text, option, "$1"));
}

std::string entity_tag(std::string_view bytes) {
  // FNV-1a, 64 bit. Nobody gains by forging a tag of our own content, and the length beside it
  // keeps accidents out.
  std::uint64_t hash = 0xcbf29ce484222325U;
  for (const char c : bytes) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 0x100000001b3U;
  }
  return fmt::format("\"{:016x}-{:x}\"", hash, bytes.size());
}

Rendered render(Answer answer, Effort effort) {
  Rendered out;
  if (answer.status == 200) out.etag = entity_tag(answer.body);
  constexpr std::size_t worth_it = 1024;
  if (answer.body.size() > worth_it) out.gzipped = gzip(answer.body, effort);
  answer.body.shrink_to_fit();  // JSON grows by doubling
  out.answer = std::move(answer);
  return out;
}

std::shared_ptr<const Rendered> rendered(Result<Answer> result, Effort effort) {
  return std::make_shared<const Rendered>(
      render(result ? std::move(*result) : problem(result.error()), effort));
}

}  // namespace roundel::serve
