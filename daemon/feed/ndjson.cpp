#include "daemon/feed/ndjson.h"

#include <simdjson.h>

#include <algorithm>
#include <optional>

#include "roundel/feed/framer.h"

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

}  // namespace

struct NdjsonExtractor::Parser {
  simdjson::dom::parser json;
  std::vector<char> padded;  // the parser reads a few bytes past the end
};

std::vector<std::pair<std::size_t, std::string>> wanted_pointers(const config::Layout& layout) {
  std::vector<std::pair<std::size_t, std::string>> wanted;
  const auto want = [&](std::size_t index, const std::optional<config::FieldAt>& at) {
    if (at) wanted.emplace_back(index, at->name);
  };
  want(address_field, layout.address);
  want(latitude_field, layout.latitude);
  want(longitude_field, layout.longitude);
  want(time_field, layout.time);
  want(altitude_field, layout.altitude);
  want(signal_field, layout.signal);
  want(on_ground_field, layout.on_ground);
  for (std::size_t i = 0; i < layout.keep.size(); ++i) want(n_fields + i, layout.keep[i].at);
  return wanted;
}

NdjsonExtractor::NdjsonExtractor(const config::Layout& layout)
    : parser_(std::make_unique<Parser>()), wanted_(wanted_pointers(layout)) {
  parser_->padded.resize(max_line_bytes + simdjson::SIMDJSON_PADDING);
}
NdjsonExtractor::NdjsonExtractor(NdjsonExtractor&&) noexcept = default;
NdjsonExtractor& NdjsonExtractor::operator=(NdjsonExtractor&&) noexcept = default;
NdjsonExtractor::~NdjsonExtractor() = default;

bool NdjsonExtractor::extract(std::string_view line, std::span<FieldValue> values) {
  if (line.starts_with("\xEF\xBB\xBF")) line.remove_prefix(3);  // a file's byte order mark
  std::vector<char>& padded = parser_->padded;
  if (padded.size() < line.size() + simdjson::SIMDJSON_PADDING)
    padded.resize(line.size() + simdjson::SIMDJSON_PADDING);
  std::copy(line.begin(), line.end(), padded.begin());

  simdjson::dom::element document;
  if (parser_->json.parse(padded.data(), line.size(), false).get(document)) return false;
  if (!document.is_object() && !document.is_array()) return false;
  std::fill(values.begin(), values.end(), FieldValue{});
  for (const auto& [index, pointer] : wanted_) {
    simdjson::dom::element element;
    if (!document.at_pointer(pointer).get(element)) values[index] = value_of(element);
  }
  return true;
}

}  // namespace roundel::feed
