// What stands at one place of a line, before it is given a meaning.
#pragma once
#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

#include "roundel/config/config.h"

namespace roundel::feed {

/// Views last as long as the line and the extractor's scratch memory do.
struct FieldValue {
  enum class Kind : std::uint8_t {
    absent,   ///< no such place, or null
    text,     ///< a column, or a JSON string
    number,   ///< a JSON number
    boolean,  ///< a JSON true or false
    list,     ///< a JSON array at a `keep`; `truth`: it names one of that condition's texts
    other,    ///< another JSON array or object
  };
  Kind kind = Kind::absent;
  bool truth = false;
  double number = 0;
  std::string_view text;
};

/// Where the values of a line stand in an extractor's output: these, then one for each `keep`.
enum Field : std::size_t {
  address_field,
  latitude_field,
  longitude_field,
  time_field,
  altitude_field,
  signal_field,
  on_ground_field,
  date_field,
  age_field,
  n_fields,
};

/// One value that a layout wants of a line: its index in the output, and where it stands.
struct WantedField {
  std::size_t index;
  config::FieldAt at;
};
std::vector<WantedField> wanted_fields(const config::Layout& layout);

/// Blanks around a value are no part of it.
inline std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

}  // namespace roundel::feed
