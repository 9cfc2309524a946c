// The way from a request to what answers it: every check stands here, in its order.
#pragma once
#include <functional>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "daemon/serve/answer.h"
#include "daemon/serve/kept_verdicts.h"
#include "daemon/serve/request.h"
#include "daemon/serve/routes.h"
#include "daemon/serve/work.h"

namespace roundel::serve {

using Decision = std::variant<std::shared_ptr<const Rendered>, Work, Events>;

/// Decides without a socket, a database or a clock of its own. Any thread.
class Door {
 public:
  struct Options {
    std::vector<std::string> names;  ///< as in Server::Options
    std::string token{};             ///< likewise
    site::ExpectSettings expect{};   ///< likewise
    std::function<double()> now_s;   ///< the computer's clock
  };
  explicit Door(Options options);

  /// @param standing  called only where the answer needs it
  Decision decide(const Request& request, const std::function<Standing()>& standing) const;
  /// @param query  outlives it
  Ask ask(const Query& query) const {
    return {.query = query,
            .expect = options_.expect,
            .is_writable = !options_.token.empty(),
            .verdicts = verdicts_.get()};
  }
  /// What works out the answer of a path that is answered from the database.
  Work work(std::string_view path, const FromStore& route, Query query,
            bool must_be_new = false) const;

 private:
  std::shared_ptr<const Rendered> file(std::string_view path) const;
  std::optional<Answer> refusal(const Request& request, const Target& target) const;
  std::optional<Answer> may_not_change(const Request& request) const;

  Options options_;
  std::shared_ptr<KeptVerdicts> verdicts_ = std::make_shared<KeptVerdicts>();
  std::vector<std::pair<std::string_view, std::shared_ptr<const Rendered>>> files_;
};

}  // namespace roundel::serve
