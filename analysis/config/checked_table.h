// A table of the file, checked against the table of keys: what is read from it cannot fail.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/config/keys.h"
#include "analysis/config/toml_value.h"
#include "roundel/config/config.h"

namespace roundel::config {

/// A text from the file as it may stand in a message: quoted, control characters escaped, cut.
std::string shown(std::string_view text);

/// Whether a text is a JSON Pointer (RFC 6901); the empty one, for a whole document, is.
bool is_pointer(std::string_view text);

/// "did you mean X?" where one of the words is near, else "LEAD: all of them".
std::string suggestion(std::string_view wrong, const std::vector<std::string>& words,
                       std::string_view lead);

/// One table whose keys all exist, with values of the right type and range, none missing.
class CheckedTable {
 public:
  /// @param table    nullptr where the file does not hold it: all defaults
  /// @param section  as the table of keys names it
  /// @param title    as it stands in messages: "[site]", "[[feed]]"
  static Result<CheckedTable> make(const Value* table, std::string_view section, std::string title,
                                   std::string file);

  bool has(std::string_view key) const;
  // The value, or the key's default. Precondition: the key exists, is of that kind, and has either.
  std::string text(std::string_view key) const;
  double number(std::string_view key) const;
  int integer(std::string_view key) const;
  bool boolean(std::string_view key) const;
  std::vector<std::string> texts(std::string_view key) const;
  std::optional<Endpoint> connect(std::string_view key) const;
  std::optional<PolledSource> get(std::string_view key) const;
  std::optional<Endpoint> listen(std::string_view key) const;
  /// The value itself, or nullptr.
  const Value* value(std::string_view key) const;

  int line() const { return table_ ? table_->line : 1; }
  /// An error that names this table, at the line of the key (of the table where there is none).
  tl::unexpected<Error> refuse(std::string_view key, std::string_view what,
                               std::string remedy = {}) const;

 private:
  CheckedTable() = default;
  Result<void> check_key(const std::string& name, const Value& value) const;
  Result<void> check_value(const Key& key, const Value& value) const;
  const Key& key_of(std::string_view key) const;
  std::string_view default_of(std::string_view key) const;

  const Value* table_ = nullptr;
  std::string_view section_;
  std::string title_, file_;
};

}  // namespace roundel::config
