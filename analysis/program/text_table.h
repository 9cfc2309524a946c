// Tables in plain text, aligned for a terminal.
#pragma once
#include <string>
#include <vector>

namespace roundel::program {

/// Columns under headings, two spaces between; as wide as their widest cell.
class TextTable {
 public:
  enum class Align { left, right };
  struct Column {
    std::string heading;
    Align align = Align::right;
  };

  explicit TextTable(std::vector<Column> columns);
  /// As many cells as columns (asserted).
  void add(std::vector<std::string> cells);
  bool empty() const { return rows_.empty(); }
  /// Heading and rows, each line ended; no trailing spaces.
  std::string text() const;

 private:
  std::vector<Column> columns_;
  std::vector<std::vector<std::string>> rows_;
};

/// 1234567 as "1 234 567": counts a person can read at a glance.
std::string grouped(long long count);

}  // namespace roundel::program
