#include "analysis/program/text_table.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace roundel::program {
namespace {

// Characters, not bytes: a name may hold letters beyond ASCII (UTF-8 continuation bytes are
// 10xxxxxx).
std::size_t width(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char byte) {
    return (static_cast<unsigned char>(byte) & 0xc0) != 0x80;
  }));
}

}  // namespace

TextTable::TextTable(std::vector<Column> columns) : columns_(std::move(columns)) {}

void TextTable::add(std::vector<std::string> cells) {
  assert(cells.size() == columns_.size());
  rows_.push_back(std::move(cells));
}

std::string TextTable::text() const {
  std::vector<std::size_t> widths;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    widths.push_back(width(columns_[i].heading));
    for (const auto& row : rows_) widths[i] = std::max(widths[i], width(row[i]));
  }
  std::string out;
  const auto write = [&](const auto& cell_of) {
    std::string line;
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      const std::string& cell = cell_of(i);
      const std::string fill(widths[i] - width(cell), ' ');
      if (i > 0) line += "  ";
      line += columns_[i].align == Align::right ? fill + cell : cell + fill;
    }
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + '\n';
  };
  write([&](std::size_t i) -> const std::string& { return columns_[i].heading; });
  for (const auto& row : rows_) write([&](std::size_t i) -> const std::string& { return row[i]; });
  return out;
}

std::string grouped(long long count) {
  std::string digits = std::to_string(count);
  const std::size_t first = digits[0] == '-' ? 1 : 0;
  for (std::size_t at = digits.size(); at > first + 3;) {
    at -= 3;
    digits.insert(at, 1, ' ');
  }
  return digits;
}

}  // namespace roundel::program
