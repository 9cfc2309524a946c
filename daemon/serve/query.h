// The query of a request: decoded, checked, read into what it selects.
#pragma once
#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// The pairs of `?key=value&key=value`. Each key once; values are UTF-8 without control characters.
class Query {
 public:
  Query() = default;
  /// @param text  what follows the '?', percent-encoded; '+' is a space. Empty pairs are skipped.
  /// Errc::malformed: bad encoding, a key twice, more than 32 pairs.
  static Result<Query> parse(std::string_view text);

  std::optional<std::string_view> get(std::string_view key) const;
  /// With one pair more. @param key  that it has not
  Query with(std::string key, std::string value) const;
  Query without(std::string_view key) const;
  /// Errc::bad_usage names the first key that is none of these, and these.
  Result<void> accept_only(std::span<const std::string_view> keys) const;
  /// The same text for the same pairs in any order: a cache's key.
  std::string canonical() const;

 private:
  std::vector<std::pair<std::string, std::string>> pairs_;  // by key
};

/// Percent-decodes; none where a '%' is not followed by two hex digits.
std::optional<std::string> percent_decode(std::string_view text, bool plus_is_space);

/// The keys that select cells, as on the command line.
inline constexpr std::array<std::string_view, 7> selection_keys{
    "antenna", "receiver", "mount", "trial", "feed", "from", "to"};

/// What antenna, receiver, mount, trial, feed, from and to select. `trial` is a list: "3,4".
/// Errc: malformed, bad_usage, naming the key. Whether names exist is the store's to say.
Result<schema::Selection> read_selection(const Query& query);

/// The same from one word, as `/api/compare?a=` takes it: "antenna=collinear,from=2026-03-01".
Result<schema::Selection> read_selection(std::string_view word);

/// A number within [low, high], or `otherwise` where the key is absent.
Result<double> read_number(const Query& query, std::string_view key, double low, double high,
                           double otherwise);

}  // namespace roundel::serve
