// The quick way through the usual kind of JSON line: one flat object of plain keys.
#pragma once
#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"

namespace roundel::feed {

/// Takes a line only if it is sure to agree with NdjsonExtractor to the last bit, and declines
/// whatever is out of the ordinary: nesting, escapes, bytes beyond ASCII, exponents, numbers of
/// more than 15 digits or so, and everything that isn't valid JSON. Keys may come in any order,
/// blanks (space, tab) anywhere.
class FlatNdjsonExtractor {
 public:
  explicit FlatNdjsonExtractor(const config::Layout& layout);
  /// Whether the layout's pointers are plain keys of the top object; if not, don't call extract().
  bool usable() const { return usable_; }
  /// False: declined, `values` is of no use. Texts are views of the line.
  bool extract(std::string_view line, std::span<FieldValue> values);

 private:
  struct Key {
    std::string quoted;        // with the closing quote: no key is the beginning of another
    std::uint64_t targets{};   // bits: indexes in values
    std::uint8_t next = none;  // another key with the same first letter
  };
  static constexpr std::uint8_t none = 0xff;

  /// A member's bytes from behind the brace or comma to its value, as they once stood: where they
  /// stand again they mean the same key. A feed's lines are alike, so each remembers what came
  /// next.
  static constexpr std::uint8_t line_begins = 0, not_kept = 1;
  struct Opening {
    std::array<std::uint64_t, 4> bytes{}, mask{};  // ones over the bytes that count
    std::uint8_t size = 0;                         // 0: none is known
    std::uint8_t next = not_kept;
    std::uint64_t targets{};
  };
  static constexpr std::size_t max_openings = 64;

  const Key* find(std::string_view rest) const;
  const char* take_opening(const char* at, const char* end, std::uint64_t& targets) const;
  std::uint8_t remembered(std::uint8_t before, std::string_view bytes, std::uint64_t targets);

  std::vector<Key> keys_;
  std::array<std::uint8_t, 128> by_first_letter_{};
  // The first stands for the line's beginning, the second for all that are too long or too many.
  std::vector<Opening> openings_;
  bool usable_ = true;
};

}  // namespace roundel::feed
