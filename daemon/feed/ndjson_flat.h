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
  bool extract(std::string_view line, std::span<FieldValue> values) const;

 private:
  struct Key {
    std::string quoted;        // with the closing quote: no key is the beginning of another
    std::uint64_t targets{};   // bits: indexes in values
    std::uint8_t next = none;  // another key with the same first letter
  };
  static constexpr std::uint8_t none = 0xff;

  const Key* find(std::string_view rest) const;

  std::vector<Key> keys_;
  std::array<std::uint8_t, 128> by_first_letter_{};
  bool usable_ = true;
};

}  // namespace roundel::feed
