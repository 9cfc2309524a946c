// Reads a file of tests/reference/data: lines with # are comments, the first other line is the
// header; quotes as in RFC 4180.
#pragma once
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <vector>

namespace roundel::reference {

using Row = std::map<std::string, std::string>;

inline std::vector<std::string> split(const std::string& line) {
  std::vector<std::string> fields(1);
  bool quoted = false;
  for (char c : line) {
    if (c == '"')
      quoted = !quoted;
    else if (c == ',' && !quoted)
      fields.emplace_back();
    else if (c != '\r')
      fields.back() += c;
  }
  return fields;
}

/// All rows by column name. The test fails if there are none.
inline std::vector<Row> rows(const std::string& file) {
  std::ifstream in(std::filesystem::path(ROUNDEL_REFERENCE_DIR) / file);
  std::vector<std::string> header;
  std::vector<Row> out;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#') continue;
    const auto fields = split(line);
    if (header.empty()) {
      header = fields;
      continue;
    }
    EXPECT_EQ(fields.size(), header.size()) << file << ": " << line;
    Row row;
    for (std::size_t i = 0; i < header.size() && i < fields.size(); ++i) row[header[i]] = fields[i];
    out.push_back(row);
  }
  EXPECT_FALSE(out.empty()) << file;
  return out;
}

inline double number(const Row& row, const std::string& column) {
  const auto found = row.find(column);
  if (found == row.end()) {
    ADD_FAILURE() << "no column " << column;
    return 0;
  }
  return std::stod(found->second);
}

}  // namespace roundel::reference
