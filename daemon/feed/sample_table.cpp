#include "daemon/feed/sample_table.h"

#include <fmt/format.h>
#include <simdjson.h>

#include <algorithm>
#include <cctype>
#include <map>
#include <unordered_map>

#include "daemon/feed/columns.h"
#include "daemon/feed/number.h"
#include "daemon/feed/pairs.h"

namespace roundel::feed {
namespace {

// Bounds for what a hostile or useless sample can cost.
constexpr std::size_t max_places = 128, max_rows = 4000;
constexpr int max_depth = 8;

SampleValue value_of_text(std::string_view text, bool decimal_comma) {
  SampleValue value;
  text = trimmed(text);
  if (text.empty()) return value;
  value.kind = FieldValue::Kind::text;
  value.text = text;
  if (!decimal_comma) {
    value.number = parse_number(text);
  } else if (text.find('.') == std::string_view::npos) {
    std::string with_point(text);
    std::replace(with_point.begin(), with_point.end(), ',', '.');
    value.number = parse_number(with_point);
  }
  return value;
}

std::string escaped(std::string_view key) {  // RFC 6901, section 3
  std::string token;
  for (const char c : key) {
    if (c == '~')
      token += "~0";
    else if (c == '/')
      token += "~1";
    else
      token += c;
  }
  return token;
}

bool is_container(const simdjson::dom::element& element) {
  return element.is_object() || element.is_array();
}

// Words in a list, as "lat lon"; empty where it holds anything else, or what may be values.
std::string words_in(const simdjson::dom::array& list) {
  std::string out;
  for (const simdjson::dom::element item : list) {
    std::string_view text;
    if (item.get(text) || text.empty() || parse_number(text) ||
        std::isalpha(static_cast<unsigned char>(text.front())) == 0)
      return {};
    out += (out.empty() ? "" : " ") + std::string(text);
  }
  return out;
}

class JsonTable {
 public:
  explicit JsonTable(const config::Layout& how) : how_(how) {}

  void add(std::string_view line) {
    simdjson::dom::element document;
    if (parser_.parse(line.data(), line.size()).get(document) || !is_container(document)) {
      ++table_.n_unreadable;
      return;
    }
    if (table_.rows.size() >= max_rows) return;
    row_.clear();
    if (!how_.each) {
      add(document, "", 0);
      table_.rows.push_back(row_);
      return;
    }
    simdjson::dom::element list = document;
    if (!how_.each->empty() && document.at_pointer(*how_.each).get(list)) return;
    simdjson::dom::array elements;
    if (list.get(elements)) return;
    is_outside_ = true;
    if (!how_.each->empty()) add(document, "", 0);
    is_outside_ = false;
    const std::vector<SampleValue> of_document = row_;
    for (const simdjson::dom::element element : elements) {
      row_ = of_document;
      if (is_container(element)) add(element, "", 0);
      table_.rows.push_back(row_);
    }
  }

  SampleTable take() {
    for (auto& row : table_.rows) row.resize(table_.places.size());
    return std::move(table_);
  }

 private:
  void add(const simdjson::dom::element& element, const std::string& pointer, int depth) {
    if (is_outside_ && pointer == *how_.each) return;
    if (simdjson::dom::object object; !element.get(object)) {
      if (depth == max_depth) return;
      for (const auto& [key, value] : object) add(value, pointer + "/" + escaped(key), depth + 1);
      return;
    }
    if (simdjson::dom::array array; !element.get(array)) {
      if (depth == max_depth) return;
      if (std::string words = depth > 0 ? words_in(array) : ""; !words.empty()) {
        SampleValue value;
        value.kind = FieldValue::Kind::list;
        value.text = std::move(words);
        return put(std::move(value), pointer);
      }
      std::size_t index = 0;
      for (const simdjson::dom::element value : array)
        add(value, fmt::format("{}/{}", pointer, index++), depth + 1);
      return;
    }
    put(leaf(element), pointer);
  }

  void put(SampleValue value, const std::string& pointer) {
    auto found = index_.find((is_outside_ ? "^" : "") + pointer);
    if (found == index_.end()) {
      if (table_.places.size() == max_places) return;
      found = index_.emplace((is_outside_ ? "^" : "") + pointer, table_.places.size()).first;
      table_.places.push_back({{std::nullopt, pointer, is_outside_}, pointer});
    }
    if (row_.size() <= found->second) row_.resize(found->second + 1);
    if (row_[found->second].present()) return;  // a repeated key: the first counts
    row_[found->second] = std::move(value);
  }

  SampleValue leaf(const simdjson::dom::element& element) const {
    SampleValue value;
    if (std::string_view text; !element.get(text)) return value_of_text(text, how_.decimal_comma);
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

  const config::Layout& how_;
  simdjson::dom::parser parser_;
  SampleTable table_;
  std::vector<SampleValue> row_;
  bool is_outside_ = false;
  std::unordered_map<std::string, std::size_t> index_;
};

}  // namespace

bool is_utf8(std::string_view text) { return simdjson::validate_utf8(text.data(), text.size()); }

std::string SampleTable::describe(std::size_t place) const {
  const Place& here = places[place];
  if (is_pairs) return here.label;
  if (here.at.outside) return here.label + " (outside)";
  if (here.at.column && here.label.empty()) return fmt::format("column {}", *here.at.column);
  if (!here.label.empty() && here.label.front() == '/') return here.label;
  return fmt::format("column {} ({})", place + 1, here.label);
}

namespace {

SampleTable table_of_columns(std::span<const std::string> lines, const config::Layout& how) {
  SampleTable table;
  std::vector<std::string> fields, names;
  for (const std::string& line : lines) {
    if (!split_columns(line, how.delimiter, fields)) {
      ++table.n_unreadable;
      continue;
    }
    fields.resize(std::min(fields.size(), max_places));
    if (how.header && names.empty()) {
      for (std::string& name : fields) name = trimmed(name);
      if (fields[0].starts_with("\xEF\xBB\xBF")) fields[0].erase(0, 3);
      names = fields;
      continue;
    }
    std::vector<SampleValue>& row = table.rows.emplace_back();
    for (const std::string& field : fields) row.push_back(value_of_text(field, how.decimal_comma));
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

SampleTable table_of_pairs(std::span<const std::string> lines, const config::Layout& how) {
  SampleTable table;
  std::unordered_map<std::string, std::size_t> index;
  for (const std::string& line : lines) {
    std::vector<SampleValue>& row = table.rows.emplace_back();
    PairSplitter splitter(line, how.delimiter, how.between);
    for (std::string_view key, text; splitter.next(key, text);) {
      if (key.empty() || !is_utf8(key)) continue;
      auto found = index.find(std::string(key));
      if (found == index.end()) {
        if (table.places.size() == max_places) continue;
        found = index.emplace(key, table.places.size()).first;
        table.places.push_back({{std::nullopt, std::string(key)}, std::string(key)});
      }
      if (row.size() <= found->second) row.resize(found->second + 1);
      if (!row[found->second].present())
        row[found->second] = value_of_text(text, how.decimal_comma);
    }
  }
  for (auto& row : table.rows) row.resize(table.places.size());
  table.is_pairs = true;
  return table;
}

// Counts the containers in each array of an array's or object's, whatever is inside these.
void count_elements(const simdjson::dom::element& element, const std::string& pointer, int depth,
                    std::map<std::string, std::size_t>& counts) {
  if (depth > 3) return;
  if (simdjson::dom::array array; !element.get(array)) {
    std::size_t n = 0;
    for (const simdjson::dom::element item : array) n += is_container(item);
    if (n > 0) counts[pointer] += n;
    return;
  }
  simdjson::dom::object object;
  if (element.get(object)) return;
  for (const auto& [key, value] : object)
    count_elements(value, pointer + "/" + escaped(key), depth + 1, counts);
}

}  // namespace

std::optional<std::string> longest_list(std::span<const std::string> lines) {
  std::map<std::string, std::size_t> counts;
  simdjson::dom::parser parser;
  for (const std::string& line : lines)
    if (simdjson::dom::element document; !parser.parse(line).get(document))
      count_elements(document, "", 0, counts);
  const auto most =
      std::max_element(counts.begin(), counts.end(),
                       [](const auto& a, const auto& b) { return a.second < b.second; });
  return most == counts.end() ? std::nullopt : std::optional(most->first);
}

SampleTable table_of(std::span<const std::string> lines, const config::Layout& how) {
  if (how.kind == config::LayoutKind::columns) return table_of_columns(lines, how);
  if (how.kind == config::LayoutKind::pairs) return table_of_pairs(lines, how);
  JsonTable table(how);
  for (const std::string& line : lines) table.add(line);
  return table.take();
}

}  // namespace roundel::feed
