// A TOML document as plain values that know their line. The TOML library stays behind this.
#pragma once
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"

namespace roundel::config {

struct Entry;

/// One value and the line it stands on (1-based).
struct Value {
  enum class Kind { text, integer, number, boolean, time, list, table };

  Kind kind = Kind::table;
  int line = 1;
  std::string text;
  std::int64_t integer{};
  double number{};  ///< also set for an integer
  bool boolean{};
  std::vector<Value> items;    ///< of a list
  std::vector<Entry> entries;  ///< of a table, in the order of the file

  /// The entry of that key, or nullptr.
  const Value* find(std::string_view key) const;
};

/// A key of a table and its value.
struct Entry {
  std::string name;
  Value value;
};

/// What a value is, in words a person knows: "text", "a whole number", "a list" ...
std::string_view words(Value::Kind kind);

/// The whole document as one table. Errc::bad_config with file:line; `file` is for messages only.
Result<Value> read_toml(std::string_view text, const std::filesystem::path& file);

}  // namespace roundel::config
