// Values from lines of JSON (RFC 8259), by JSON Pointer (RFC 6901).
#pragma once
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
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

 private:
  struct Parser;
  std::unique_ptr<Parser> parser_;
  std::vector<std::pair<std::size_t, std::string>> wanted_;  // index in values, and pointer
};

/// The pointers of a layout with their index in `values`.
std::vector<std::pair<std::size_t, std::string>> wanted_pointers(const config::Layout& layout);

}  // namespace roundel::feed
