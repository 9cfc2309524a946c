#include "daemon/feed/ndjson.h"

#include <simdjson.h>

#include <algorithm>
#include <utility>

namespace roundel::feed {
namespace {

FieldValue value_of(const simdjson::dom::element& element) {
  using simdjson::dom::element_type;
  FieldValue value;
  switch (element.type()) {
    case element_type::NULL_VALUE:
      break;
    case element_type::BOOL:
      value.kind = FieldValue::Kind::boolean;
      value.truth = element.get_bool().value_unsafe();
      break;
    case element_type::INT64:
    case element_type::UINT64:
    case element_type::DOUBLE:
      value.kind = FieldValue::Kind::number;
      value.number = element.get_double().value_unsafe();
      break;
    case element_type::STRING:
      value.kind = FieldValue::Kind::text;
      value.text = element.get_string().value_unsafe();
      break;
    case element_type::ARRAY:
    case element_type::OBJECT:
      value.kind = FieldValue::Kind::other;
      break;
  }
  return value;
}

bool names_one(const simdjson::dom::array& list, const std::vector<std::string>& texts) {
  for (const simdjson::dom::element item : list)
    if (std::string_view text;
        !item.get(text) && std::find(texts.begin(), texts.end(), text) != texts.end())
      return true;
  return false;
}

// @param wanted  NdjsonExtractor::Wanted
template <class Wanted>
void fill(const std::vector<Wanted>& wanted, const simdjson::dom::element& from,
          std::span<FieldValue> values) {
  for (const Wanted& field : wanted) {
    simdjson::dom::element element;
    if (from.at_pointer(field.pointer).get(element)) continue;
    FieldValue& value = values[field.index] = value_of(element);
    simdjson::dom::array list;
    if (field.list_texts.empty() || element.get(list)) continue;
    value.kind = FieldValue::Kind::list;
    value.truth = names_one(list, field.list_texts);
  }
}

}  // namespace

struct NdjsonExtractor::Parser {
  simdjson::dom::parser json;
  simdjson::dom::element document;
  std::vector<char> padded;  // the parser reads a few bytes past the end
};

NdjsonExtractor::NdjsonExtractor(const config::Layout& layout)
    : parser_(std::make_unique<Parser>()), each_(layout.each) {
  parser_->padded.resize(config::usual_line_bytes + simdjson::SIMDJSON_PADDING);
  for (WantedField& field : wanted_fields(layout)) {
    std::vector<std::string> names;
    if (field.index >= n_fields) {
      const config::Keep& keep = layout.keep[field.index - n_fields];
      if (keep.test == config::KeepTest::lists || keep.test == config::KeepTest::lacks)
        names = keep.texts;
    }
    auto& group = field.at.outside ? outside_ : wanted_;
    group.push_back({field.index, std::move(field.at.name), std::move(names)});
  }
}
NdjsonExtractor::NdjsonExtractor(NdjsonExtractor&&) noexcept = default;
NdjsonExtractor& NdjsonExtractor::operator=(NdjsonExtractor&&) noexcept = default;
NdjsonExtractor::~NdjsonExtractor() = default;

bool NdjsonExtractor::parse(std::string_view line) {
  if (line.starts_with("\xEF\xBB\xBF")) line.remove_prefix(3);  // a file's byte order mark
  std::vector<char>& padded = parser_->padded;
  if (padded.size() < line.size() + simdjson::SIMDJSON_PADDING)
    padded.resize(line.size() + simdjson::SIMDJSON_PADDING);
  std::copy(line.begin(), line.end(), padded.begin());
  simdjson::dom::element& document = parser_->document;
  if (parser_->json.parse(padded.data(), line.size(), false).get(document)) return false;
  return document.is_object() || document.is_array();
}

bool NdjsonExtractor::extract(std::string_view line, std::span<FieldValue> values) {
  if (!parse(line)) return false;
  std::fill(values.begin(), values.end(), FieldValue{});
  fill(wanted_, parser_->document, values);
  return true;
}

bool NdjsonExtractor::extract_each(std::string_view line, std::span<FieldValue> values,
                                   const std::function<void()>& on_element) {
  if (!parse(line)) return false;
  simdjson::dom::element list = parser_->document;
  if (!each_->empty() && parser_->document.at_pointer(*each_).get(list)) return true;
  simdjson::dom::array elements;
  if (list.get(elements)) return true;
  std::vector<FieldValue> of_document(values.size());
  fill(outside_, parser_->document, of_document);
  for (const simdjson::dom::element element : elements) {
    std::copy(of_document.begin(), of_document.end(), values.begin());
    if (element.is_object() || element.is_array()) fill(wanted_, element, values);
    on_element();
  }
  return true;
}

}  // namespace roundel::feed
