#include "daemon/feed/columns.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>

namespace roundel::feed {

bool ColumnSplitter::next(std::string_view& field, std::string& scratch) {
  if (!more_) return false;
  if (!rest_.empty() && rest_.front() == '"') return next_quoted(field, scratch);
  const std::size_t end = rest_.find(delimiter_);
  field = rest_.substr(0, end);
  more_ = end != std::string_view::npos;
  if (more_) rest_.remove_prefix(end + 1);
  return true;
}

bool ColumnSplitter::next_quoted(std::string_view& field, std::string& scratch) {
  const std::size_t begin = scratch.size();
  for (;;) {
    rest_.remove_prefix(1);  // the opening quote, or the second of two
    const std::size_t quote = rest_.find('"');
    if (quote == std::string_view::npos) {
      more_ = false;
      broken_ = true;
      return false;
    }
    assert(scratch.capacity() - scratch.size() >= quote);
    scratch.append(rest_.substr(0, quote));
    rest_.remove_prefix(quote + 1);
    if (rest_.empty() || rest_.front() != '"') break;
    scratch.push_back('"');
  }
  more_ = !rest_.empty();
  broken_ = more_ && rest_.front() != delimiter_;
  if (broken_) return more_ = false;
  if (more_) rest_.remove_prefix(1);
  field = std::string_view(scratch).substr(begin);
  return true;
}

bool split_columns(std::string_view line, char delimiter, std::vector<std::string>& fields) {
  fields.clear();
  std::string scratch;
  scratch.reserve(line.size());
  ColumnSplitter splitter(line, delimiter);
  for (std::string_view field; splitter.next(field, scratch);) fields.emplace_back(field);
  return !splitter.broken();
}

ColumnsExtractor::ColumnsExtractor(const config::Layout& layout)
    : delimiter_(layout.delimiter),
      longest_line_(layout.line_bytes),
      header_expected_(layout.header),
      wanted_(wanted_fields(layout)) {
  if (!header_expected_) place();
}

void ColumnsExtractor::read_header(std::string_view line) {
  header_expected_ = false;
  header_line_ = line;
  if (line.starts_with("\xEF\xBB\xBF")) line.remove_prefix(3);  // a file's byte order mark
  if (!split_columns(line, delimiter_, names_)) {
    trouble_ = "the quoting of the header line is broken";
    return;
  }
  for (std::string& name : names_) name = trimmed(name);
  place();
}

void ColumnsExtractor::place() {
  for (const auto& [index, at] : wanted_) {
    std::size_t column = 0;
    if (at.column) {
      // A line can't have more: each but the first costs a delimiter.
      if (*at.column < 1 || *at.column > longest_line_ + 1) {
        trouble_ = fmt::format("there can be no column {}; the first is 1", *at.column);
        return;
      }
      column = static_cast<std::size_t>(*at.column) - 1;
    } else {
      const auto found = std::find(names_.begin(), names_.end(), at.name);
      if (found == names_.end()) {
        trouble_ = fmt::format("the header has no column \"{}\"", at.name);
        return;
      }
      column = static_cast<std::size_t>(found - names_.begin());
    }
    if (targets_.size() <= column) targets_.resize(column + 1);
    targets_[column].push_back(index);
  }
}

ColumnsExtractor::Outcome ColumnsExtractor::extract(std::string_view line,
                                                    std::span<FieldValue> values) {
  if (header_expected_) {
    read_header(line);
    return Outcome::header;
  }
  // Files that were joined repeat it.
  if (!header_line_.empty() && line == header_line_) return Outcome::header;
  if (!trouble_.empty()) return Outcome::malformed;

  std::fill(values.begin(), values.end(), FieldValue{});
  const char* at = line.data();
  const char* const end = at + line.size();
  for (std::size_t column = 0; column < targets_.size(); ++column) {
    if (at != end && *at == '"')
      return extract_quoted({at, static_cast<std::size_t>(end - at)}, column, values);
    const char* const begin = at;
    // Fields are short: a call that looks for the delimiter costs more.
    while (at != end && *at != delimiter_) ++at;
    for (const std::size_t index : targets_[column]) {
      values[index].kind = FieldValue::Kind::text;
      values[index].text = {begin, static_cast<std::size_t>(at - begin)};
    }
    if (at == end) break;
    ++at;
  }
  return Outcome::values;
}

// The rest of a line, from a field in quotes on.
ColumnsExtractor::Outcome ColumnsExtractor::extract_quoted(std::string_view rest,
                                                           std::size_t column,
                                                           std::span<FieldValue> values) {
  scratch_.clear();
  scratch_.reserve(rest.size());
  ColumnSplitter splitter(rest, delimiter_);
  std::string_view field;
  for (; column < targets_.size() && splitter.next(field, scratch_); ++column) {
    for (const std::size_t index : targets_[column]) {
      values[index].kind = FieldValue::Kind::text;
      values[index].text = field;
    }
  }
  return splitter.broken() ? Outcome::malformed : Outcome::values;
}

}  // namespace roundel::feed
