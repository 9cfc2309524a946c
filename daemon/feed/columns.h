// Values from lines of delimited columns, quoted as in RFC 4180.
#pragma once
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"

namespace roundel::feed {

/// The fields of one line, by RFC 4180: a field that begins with a quote ends at the next single
/// quote, which must be followed by the delimiter or the line's end; a doubled one stands for
/// itself. A quote elsewhere is an ordinary character. No line breaks within fields.
class ColumnSplitter {
 public:
  ColumnSplitter(std::string_view line, char delimiter) : rest_(line), delimiter_(delimiter) {}
  /// The next field; false at the end, or where the quoting is broken. An unescaped field is
  /// appended to `scratch`, which must not move: reserve the line's length.
  bool next(std::string_view& field, std::string& scratch);
  bool broken() const { return broken_; }

 private:
  bool next_quoted(std::string_view& field, std::string& scratch);

  std::string_view rest_;
  char delimiter_;
  bool more_ = true;
  bool broken_ = false;
};

/// All fields of a line; false where the quoting is broken.
bool split_columns(std::string_view line, char delimiter, std::vector<std::string>& fields);

class ColumnsExtractor {
 public:
  enum class Outcome { values, header, malformed };

  explicit ColumnsExtractor(const config::Layout& layout);
  /// @param values  n_fields, then one for each `keep`; filled where the outcome is `values`
  Outcome extract(std::string_view line, std::span<FieldValue> values);
  const std::string& trouble() const { return trouble_; }
  /// Whether the next line is taken for the header.
  bool is_header_expected() const { return header_expected_; }

 private:
  Outcome extract_quoted(std::string_view rest, std::size_t column, std::span<FieldValue> values);
  void read_header(std::string_view line);
  void place();

  char delimiter_;
  int longest_line_;
  bool header_expected_;
  std::string header_line_;
  std::vector<std::string> names_;
  std::vector<WantedField> wanted_;
  std::vector<std::vector<std::size_t>> targets_;  // by column, from 0
  std::string scratch_;
  std::string trouble_;
};

}  // namespace roundel::feed
