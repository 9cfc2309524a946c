// Values from lines of JSON (RFC 8259), by JSON Pointer (RFC 6901).
#pragma once
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"

namespace roundel::feed {

/// Reads any JSON object or array, whatever its nesting, order of keys and escapes. Where a key
/// is repeated within an object the first counts.
class NdjsonExtractor {
 public:
  explicit NdjsonExtractor(const config::Layout& layout);
  NdjsonExtractor(NdjsonExtractor&&) noexcept;
  NdjsonExtractor& operator=(NdjsonExtractor&&) noexcept;
  ~NdjsonExtractor();

  /// @param values  n_fields, then one for each `keep`; the texts live until the next call
  /// False where the line is not one JSON object or array.
  bool extract(std::string_view line, std::span<FieldValue> values);
  /// The same for a layout with `each`: calls `on_element` once for each element, having filled in
  /// the values. Not at all where there is no such array.
  bool extract_each(std::string_view line, std::span<FieldValue> values,
                    const std::function<void()>& on_element);

 private:
  struct Parser;
  struct Wanted {
    std::size_t index;  // in values
    std::string pointer;
    std::vector<std::string> list_texts;  // that a list there may name
  };
  bool parse(std::string_view line);

  std::unique_ptr<Parser> parser_;
  std::optional<std::string> each_;
  std::vector<Wanted> wanted_, outside_;
};

}  // namespace roundel::feed
