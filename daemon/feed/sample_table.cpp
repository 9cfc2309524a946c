#include "daemon/feed/sample_table.h"

#include <fmt/format.h>
#include <simdjson.h>

#include <algorithm>
#include <unordered_map>

#include "daemon/feed/columns.h"
#include "daemon/feed/number.h"

namespace roundel::feed {
namespace {

// Bounds for what a hostile or useless sample can cost.
constexpr std::size_t max_places = 128;
constexpr int max_depth = 8;

SampleValue value_of_text(std::string_view text) {
  SampleValue value;
  text = trimmed(text);
  if (text.empty()) return value;
  value.kind = FieldValue::Kind::text;
  value.text = text;
  value.number = parse_number(text);
  return value;
}

class JsonTable {
 public:
  void add(std::string_view line) {
    simdjson::dom::element document;
    if (parser_.parse(line.data(), line.size()).get(document) ||
        (!document.is_object() && !document.is_array())) {
      ++table_.n_unreadable;
      return;
    }
    table_.rows.emplace_back();
    add(document, "", 0);
  }

  SampleTable take() {
    for (auto& row : table_.rows) row.resize(table_.places.size());
    return std::move(table_);
  }

 private:
  void add(const simdjson::dom::element& element, const std::string& pointer, int depth) {
    if (simdjson::dom::object object; !element.get(object)) {
      if (depth == max_depth) return;
      for (const auto& [key, value] : object) {
        std::string token;
        for (const char c : key) {  // RFC 6901, section 3
          if (c == '~')
            token += "~0";
          else if (c == '/')
            token += "~1";
          else
            token += c;
        }
        add(value, pointer + "/" + token, depth + 1);
      }
      return;
    }
    if (simdjson::dom::array array; !element.get(array)) {
      if (depth == max_depth) return;
      std::size_t index = 0;
      for (const simdjson::dom::element value : array)
        add(value, fmt::format("{}/{}", pointer, index++), depth + 1);
      return;
    }
    add_leaf(element, pointer);
  }

  void add_leaf(const simdjson::dom::element& element, const std::string& pointer) {
    auto found = index_.find(pointer);
    if (found == index_.end()) {
      if (table_.places.size() == max_places) return;
      found = index_.emplace(pointer, table_.places.size()).first;
      table_.places.push_back({{std::nullopt, pointer}, pointer});
    }
    auto& row = table_.rows.back();
    if (row.size() <= found->second) row.resize(found->second + 1);
    if (row[found->second].present()) return;  // a repeated key: the first counts
    row[found->second] = leaf(element);
  }

  static SampleValue leaf(const simdjson::dom::element& element) {
    SampleValue value;
    if (std::string_view text; !element.get(text)) return value_of_text(text);
    if (bool truth = false; !element.get(truth)) {
      value.kind = FieldValue::Kind::boolean;
      value.text = truth ? "true" : "false";
    } else if (double number = 0; !element.get(number)) {
      value.kind = FieldValue::Kind::number;
      value.number = number;
      value.text = fmt::format("{}", number);
      if (std::int64_t whole = 0; !element.get(whole)) value.text = fmt::format("{}", whole);
    }
    return value;
  }

  simdjson::dom::parser parser_;
  SampleTable table_;
  std::unordered_map<std::string, std::size_t> index_;
};

}  // namespace

bool is_utf8(std::string_view text) { return simdjson::validate_utf8(text.data(), text.size()); }

std::string SampleTable::describe(std::size_t place) const {
  const Place& here = places[place];
  if (here.at.column && here.label.empty()) return fmt::format("column {}", *here.at.column);
  if (!here.label.empty() && here.label.front() == '/') return here.label;
  return fmt::format("column {} ({})", place + 1, here.label);
}

SampleTable table_of_columns(std::span<const std::string> lines, char delimiter, bool header) {
  SampleTable table;
  std::vector<std::string> fields, names;
  for (const std::string& line : lines) {
    if (!split_columns(line, delimiter, fields)) {
      ++table.n_unreadable;
      continue;
    }
    fields.resize(std::min(fields.size(), max_places));
    if (header && names.empty()) {
      for (std::string& name : fields) name = trimmed(name);
      if (fields[0].starts_with("\xEF\xBB\xBF")) fields[0].erase(0, 3);
      names = fields;
      continue;
    }
    std::vector<SampleValue>& row = table.rows.emplace_back();
    for (const std::string& field : fields) row.push_back(value_of_text(field));
    while (table.places.size() < row.size()) {
      const std::size_t place = table.places.size();
      const std::string name = place < names.size() ? names[place] : "";
      // The name must fit into a TOML file, which is UTF-8.
      const bool serves = !name.empty() && name.front() != '/' && is_utf8(name) &&
                          std::count(names.begin(), names.end(), name) == 1;
      config::FieldAt at;
      if (serves)
        at.name = name;
      else
        at.column = static_cast<int>(place) + 1;
      table.places.push_back({at, name});
    }
  }
  for (auto& row : table.rows) row.resize(table.places.size());
  return table;
}

SampleTable table_of_json(std::span<const std::string> lines) {
  JsonTable table;
  for (const std::string& line : lines) table.add(line);
  return table.take();
}

}  // namespace roundel::feed
