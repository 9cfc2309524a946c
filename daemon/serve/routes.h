// The one table from path to handler.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <variant>

#include "daemon/serve/answer.h"
#include "daemon/serve/counters.h"
#include "daemon/serve/query.h"
#include "daemon/serve/work.h"
#include "roundel/schema/store.h"
#include "roundel/serve/live.h"
#include "roundel/site/expect_settings.h"

namespace roundel::serve {

/// How things stand at the moment, for answers that need no database.
struct Standing {
  const Live& live;
  const Counters& counters;
  std::optional<std::int64_t> store_bytes;  ///< none: cannot be told
};

class KeptVerdicts;

/// What is asked for, and by whom it may be changed.
struct Ask {
  const Query& query;
  const site::ExpectSettings& expect;  ///< how the configuration says that the site hears
  bool is_writable = false;            ///< a token is configured
  /// Worked through for one answer, the newest: a week of a busy sky. More would hold up other
  /// questions for minutes on a small board, and take the memory that recording needs.
  std::int64_t most_cells = 6'000'000;
  KeptVerdicts* verdicts = nullptr;  ///< found before, for cuts; null: none are kept
  bool must_be_new = false;          ///< takes nothing that was found before
};

/// Answered on the network thread.
using FromLive = Answer (*)(const Standing&);
/// Worked out at its pace, or kept from before (desk.h).
struct FromStore {
  Pace pace;
  Result<Answer> (*handler)(const Ask&, const schema::Store&);
  bool is_conclusion = false;  ///< some minutes more of a record do not change it much
};
/// Changes something: POST, with the token. @param body  JSON text  @param now_s  computer's clock
struct Change {
  Result<Answer> (*handler)(std::string_view body, schema::Store& store, double now_s);
};
/// The stream of live events.
struct Events {};
/// A text that never changes.
struct Fixed {
  std::string_view content_type;
  const std::string_view* text;
};

using Keys = std::span<const std::string_view>;
struct Route {
  std::string_view path;
  std::variant<FromLive, FromStore, Change, Events, Fixed> handler;
  Keys keys;  ///< that its query may have
};

/// Every path but the page's own files.
std::span<const Route> routes();
/// None: no such path.
const Route* find_route(std::string_view path);

}  // namespace roundel::serve
