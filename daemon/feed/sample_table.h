// A sample of lines as a table of values by place: what the guesser looks at.
#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"

namespace roundel::feed {

struct SampleValue {
  FieldValue::Kind kind = FieldValue::Kind::absent;  ///< blank texts are absent
  std::string text;                                  ///< without blanks around
  std::optional<double> number;                      ///< where it reads as one
  bool present() const { return kind != FieldValue::Kind::absent; }
};

/// A column or a JSON pointer at which some line of the sample has a value.
struct Place {
  config::FieldAt at;
  std::string label;  ///< header name or pointer; empty where columns have no header
};

struct SampleTable {
  std::vector<Place> places;
  std::vector<std::vector<SampleValue>> rows;  ///< each of places.size()
  std::size_t n_unreadable = 0;                ///< lines that aren't of this kind
  bool is_pairs = false;

  const SampleValue& at(std::size_t row, std::size_t place) const { return rows[row][place]; }
  /// "column 7", "column 7 (lat)", "/position/lat", "/time (outside)", or a key.
  std::string describe(std::size_t place) const;
};

/// What can stand in a TOML file.
bool is_utf8(std::string_view text);

/// The values of a sample, by what a layout says of lines: kind, delimiter, each, decimal comma;
/// its fields don't count. With a header, columns are addressed by its names where they are unique,
/// else by number. In JSON, values within nested objects and arrays stand at their pointers;
/// containers themselves don't, except lists of words. With `each` an element is a row.
SampleTable table_of(std::span<const std::string> lines, const config::Layout& how);
/// The pointer to the array that holds most objects and arrays, over all documents.
std::optional<std::string> longest_list(std::span<const std::string> lines);

}  // namespace roundel::feed
