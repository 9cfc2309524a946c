#include "daemon/feed/pairs.h"

#include <algorithm>

namespace roundel::feed {

std::string_view PairSplitter::word() {
  const std::size_t end = std::min(rest_.find(delimiter_), rest_.size());
  const std::string_view out = rest_.substr(0, end);
  rest_.remove_prefix(std::min(end + 1, rest_.size()));
  return out;
}

bool PairSplitter::next(std::string_view& key, std::string_view& value) {
  if (delimiter_ == ' ') rest_.remove_prefix(std::min(rest_.find_first_not_of(' '), rest_.size()));
  if (rest_.empty()) return false;
  std::string_view first = word();
  if (between_ == delimiter_) {
    if (delimiter_ == ' ')
      rest_.remove_prefix(std::min(rest_.find_first_not_of(' '), rest_.size()));
    key = trimmed(first);
    value = trimmed(word());
    return true;
  }
  const std::size_t at = std::min(first.find(between_), first.size());
  key = trimmed(first.substr(0, at));
  value = trimmed(first.substr(std::min(at + 1, first.size())));
  return true;
}

PairsExtractor::PairsExtractor(const config::Layout& layout)
    : delimiter_(layout.delimiter), between_(layout.between), wanted_(wanted_fields(layout)) {}

void PairsExtractor::extract(std::string_view line, std::span<FieldValue> values) const {
  std::fill(values.begin(), values.end(), FieldValue{});
  PairSplitter splitter(line, delimiter_, between_);
  for (std::string_view key, text; splitter.next(key, text);) {
    for (const WantedField& wanted : wanted_) {
      FieldValue& value = values[wanted.index];
      if (wanted.at.name != key || value.kind != FieldValue::Kind::absent) continue;
      value.kind = FieldValue::Kind::text;
      value.text = text;
    }
  }
}

}  // namespace roundel::feed
