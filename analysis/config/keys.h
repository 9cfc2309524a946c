// The one table of what roundel.toml may hold. Validation, defaults and the printed reference all
// come from it: a key that is not here does not exist.
#pragma once
#include <span>
#include <string>
#include <string_view>

namespace roundel::config {

/// What a key's value must be.
enum class Kind {
  name,  ///< text that names something: short, no commas, equals signs or line ends
  text,  ///< any text but empty
  number,
  integer,
  boolean,
  connect,  ///< HOST:PORT to connect to
  get,      ///< http://HOST[:PORT]/PATH to ask again and again
  listen,   ///< ADDRESS:PORT to listen on, an address of this computer written as a number
  choice,   ///< one of a few words
  byte,     ///< text of exactly one byte
  field,    ///< where a field stands: column number, header name, key or JSON Pointer
  pointer,  ///< JSON Pointer, empty for the whole document
  texts,    ///< one text or a list of them
  tables,   ///< a list of tables
};

/// How a section is written, and how often.
enum class Shape {
  once,    ///< [site]
  list,    ///< [[feed]]
  named,   ///< [layout.NAME]
  inside,  ///< { ... } as an item of another section's list
};

struct Section {
  std::string_view name;
  Shape shape;
  bool required;
  std::string_view meaning;
};

struct Key {
  std::string_view section;
  std::string_view key;
  Kind kind;
  std::string_view unit;           ///< empty where it has none
  double low, high;                ///< numbers and integers only, both ends accepted
  std::string_view choices;        ///< "ndjson|columns", choice only
  std::string_view default_value;  ///< `required`, `none`, or the default as written in the file
  std::string_view meaning;
};

inline constexpr std::string_view required = "required";
inline constexpr std::string_view none = "none";

std::span<const Section> sections();
std::span<const Key> keys();
/// The key of that section, or nullptr.
const Key* find_key(std::string_view section, std::string_view key);

/// What a key's value must be, for messages: "a number (deg)", "\"ndjson\" or \"columns\"".
std::string accepted_words(const Key& key);

}  // namespace roundel::config
