#include "analysis/config/toml_value.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <utility>

#include "analysis/config/toml_library.h"

namespace roundel::config {
namespace {

int line_of(const toml::source_region& source) { return static_cast<int>(source.begin.line); }

Value convert(const toml::node& node);

// toml++ keeps a table sorted by key; messages should come in the order a person wrote.
void convert_entries(const toml::table& table, Value& out) {
  for (const auto& [key, node] : table) {
    Value value = convert(node);
    // Where the key stands is where a person looks; a value of several lines begins there too.
    if (key.source().begin.line > 0) value.line = line_of(key.source());
    out.entries.push_back({std::string(key.str()), std::move(value)});
  }
  std::stable_sort(out.entries.begin(), out.entries.end(),
                   [](const auto& a, const auto& b) { return a.value.line < b.value.line; });
}

Value convert(const toml::node& node) {
  Value out;
  out.line = std::max(1, line_of(node.source()));
  if (const auto* text = node.as_string()) {
    out.kind = Value::Kind::text;
    out.text = text->get();
  } else if (const auto* integer = node.as_integer()) {
    out.kind = Value::Kind::integer;
    out.integer = integer->get();
    out.number = static_cast<double>(integer->get());
  } else if (const auto* number = node.as_floating_point()) {
    out.kind = Value::Kind::number;
    out.number = number->get();
  } else if (const auto* boolean = node.as_boolean()) {
    out.kind = Value::Kind::boolean;
    out.boolean = boolean->get();
  } else if (const auto* list = node.as_array()) {
    out.kind = Value::Kind::list;
    for (const toml::node& item : *list) out.items.push_back(convert(item));
  } else if (const auto* table = node.as_table()) {
    out.kind = Value::Kind::table;
    convert_entries(*table, out);
  } else {
    out.kind = Value::Kind::time;
  }
  return out;
}

// The library's message on one line, without its lead ("Error while parsing table header: ...").
std::string plain(std::string_view message) {
  constexpr std::string_view lead = "Error while parsing ";
  std::string out;
  if (message.starts_with(lead)) {
    out = "in a ";
    message.remove_prefix(lead.size());
  }
  for (const char c : message.substr(0, 200))
    out += static_cast<unsigned char>(c) < 0x20 || c == 0x7f ? ' ' : c;
  return out;
}

// What is wrong with a line that is no TOML where it is the usual slip, or empty.
std::string usual_slip(std::string_view text, int line) {
  for (; line > 1 && !text.empty(); --line)
    text.remove_prefix(std::min(text.find('\n'), text.size() - 1) + 1);
  text = text.substr(0, text.find('\n'));
  const auto equals = text.find('=');
  if (equals == std::string_view::npos) return {};
  std::string_view value = text.substr(equals + 1);
  while (!value.empty() && (value.front() == ' ' || value.front() == '\t')) value.remove_prefix(1);
  if (std::count(value.begin(), value.end(), '"') % 2 != 0) return "a quotation mark is missing";
  if (!value.empty() && std::isalpha(static_cast<unsigned char>(value.front())) != 0)
    return "the value has no quotation marks";
  return {};
}

}  // namespace

const Value* Value::find(std::string_view key) const {
  for (const auto& [name, value] : entries)
    if (name == key) return &value;
  return nullptr;
}

std::string_view words(Value::Kind kind) {
  switch (kind) {
    case Value::Kind::text:
      return "text";
    case Value::Kind::integer:
      return "a whole number";
    case Value::Kind::number:
      return "a number";
    case Value::Kind::boolean:
      return "true or false";
    case Value::Kind::time:
      return "a date or time";
    case Value::Kind::list:
      return "a list";
    case Value::Kind::table:
      return "a table";
  }
  return "unknown";
}

Result<Value> read_toml(std::string_view text, const std::filesystem::path& file) {
  const toml::parse_result parsed = toml::parse(text);
  if (!parsed) {
    const toml::parse_error& error = parsed.error();
    const int line = std::max(1, line_of(error.source()));
    const std::string slip = usual_slip(text, line);
    return fail(Errc::bad_config,
                fmt::format("not TOML: {}", slip.empty() ? plain(error.description()) : slip),
                fmt::format("{}:{}", file.string(), line),
                slip.empty() ? "" : "write text between two: name = \"text\"");
  }
  Value out;
  convert_entries(parsed.table(), out);
  return out;
}

}  // namespace roundel::config
