#include "daemon/serve/door.h"

#include <fmt/format.h>

#include <algorithm>

#include "roundel/serve/assets.h"

namespace roundel::serve {
namespace {

using Ready = std::shared_ptr<const Rendered>;

Ready ready(Answer answer) { return std::make_shared<const Rendered>(render(std::move(answer))); }

Answer method_not_allowed(std::string_view method, std::string_view allowed) {
  Answer answer =
      problem(405, fmt::format("{} is not for this path; use {}", method.substr(0, 20), allowed));
  answer.headers.emplace_back("Allow", allowed);
  return answer;
}

bool is_reading(std::string_view method) { return method == "GET" || method == "HEAD"; }

}  // namespace

Door::Door(Options options) : options_(std::move(options)) {
  for (const auto& asset : assets()) {
    Rendered out;
    out.answer.content_type = asset.content_type;
    out.etag = asset.etag;
    // A compressed file is unpacked only for the rare client that cannot do it itself.
    (asset.gzip ? out.gzipped : out.answer.body) = asset.bytes;
    files_.emplace_back(asset.path, std::make_shared<const Rendered>(std::move(out)));
  }
}

Ready Door::file(std::string_view path) const {
  const auto found = std::ranges::find(files_, path, [](const auto& entry) { return entry.first; });
  return found == files_.end() ? nullptr : found->second;
}

std::optional<Answer> Door::refusal(const Request& request, const Target& target) const {
  if (!target.is_valid) return problem(400, "the request's target is not a path");
  // RFC 9112, section 3.2: exactly one Host field, whatever the target says.
  if (request.n_hosts != 1) return problem(400, "a request needs one Host field");
  const std::string_view host = target.authority.empty() ? request.host : target.authority;
  if (!is_own_host(host, options_.names)) {
    return problem(421, fmt::format("this server does not answer for \"{}\"; use the address of "
                                    "[web] listen in roundel.toml",
                                    host.substr(0, 80)));
  }
  return {};
}

std::optional<Answer> Door::may_not_change(const Request& request) const {
  if (options_.token.empty()) {
    return problem(403, "the page is read-only: no token is set under [web] in roundel.toml");
  }
  // A page of another origin cannot send our header unasked (CORS), and this server never allows
  // it; a request that says where it comes from is held to that all the same.
  const bool is_foreign =
      (!request.origin.empty() && request.origin != fmt::format("http://{}", request.host) &&
       request.origin != fmt::format("https://{}", request.host)) ||
      (!request.fetch_site.empty() && request.fetch_site != "same-origin" &&
       request.fetch_site != "none");
  if (is_foreign) return problem(403, "changes are taken from this server's own page only");
  constexpr std::string_view scheme = "Bearer ";
  const auto& given = request.authorization;
  if (given.substr(0, scheme.size()) != scheme ||
      !is_equal_in_constant_time(given.substr(scheme.size()), options_.token)) {
    Answer answer = problem(
        401, given.empty() ? "send the token as Authorization: Bearer" : "this is not the token");
    answer.headers.emplace_back("WWW-Authenticate", "Bearer realm=\"roundel\"");
    return answer;
  }
  const std::string_view type = request.content_type.substr(0, request.content_type.find(';'));
  if (type != json_type) return problem(415, "send the change as application/json");
  return {};
}

Decision Door::decide(const Request& request, const std::function<Standing()>& standing) const {
  const Target target = read_target(request.target);
  if (auto no = refusal(request, target)) return ready(std::move(*no));

  if (const Ready found = file(target.path)) {
    if (!is_reading(request.method)) return ready(method_not_allowed(request.method, "GET, HEAD"));
    return found;  // its query is the page's own affair: the view it shows
  }
  const Route* route = find_route(target.path);
  if (route == nullptr) return ready(problem(404, "there is nothing under this path"));

  const auto* change = std::get_if<Change>(&route->handler);
  if (change && request.method != "POST") {
    return ready(method_not_allowed(request.method, "POST"));
  }
  if (!change && !is_reading(request.method)) {
    return ready(method_not_allowed(request.method, "GET, HEAD"));
  }

  auto query = Query::parse(target.query);
  if (!query) return ready(problem(query.error()));
  if (auto known = query->accept_only(route->keys); !known) return ready(problem(known.error()));

  if (change) {
    if (auto no = may_not_change(request)) return ready(std::move(*no));
    return Work{.change = [handler = change->handler, body = std::string(request.body),
                           now_s = options_.now_s()](schema::Store& store) {
      return handler(body, store, now_s);
    }};
  }
  if (const auto* fixed = std::get_if<Fixed>(&route->handler)) {
    return ready(
        {.content_type = std::string(fixed->content_type), .body = std::string(*fixed->text)});
  }
  if (const auto* handler = std::get_if<FromLive>(&route->handler)) {
    return ready((*handler)(standing()));
  }
  if (std::holds_alternative<Events>(route->handler)) return Events{};

  return work(route->path, std::get<FromStore>(route->handler), std::move(*query),
              demands_new(request.cache_control));
}

Work Door::work(std::string_view path, const FromStore& route, Query query,
                bool must_be_new) const {
  std::string key = std::string(path) + '\x1D' + query.canonical();
  const bool is_lasting = route.is_conclusion && !query.get("from") && !query.get("to");
  return {.pace = route.pace,
          .key = std::move(key),
          .may_age = route.is_conclusion,
          .is_lasting = is_lasting,
          .must_be_new = must_be_new,
          .work = [handler = route.handler, query = std::move(query), expect = options_.expect,
                   is_writable = !options_.token.empty(), verdicts = verdicts_,
                   must_be_new](const schema::Store& store) {
            return handler({.query = query,
                            .expect = expect,
                            .is_writable = is_writable,
                            .verdicts = verdicts.get(),
                            .must_be_new = must_be_new},
                           store);
          }};
}

}  // namespace roundel::serve
