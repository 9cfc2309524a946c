// Lines of CSV as RFC 4180 wants them.
#pragma once
#include <fmt/format.h>

#include <optional>
#include <string>
#include <string_view>

namespace roundel::present {

/// Collects one line after the other.
class CsvWriter {
 public:
  explicit CsvWriter(std::string& to) : to_(to) {}
  CsvWriter& text(std::string_view value) {
    comma();
    if (value.find_first_of(",\"\r\n") == std::string_view::npos) {
      to_ += value;
      return *this;
    }
    to_ += '"';
    for (const char c : value) to_ += c == '"' ? std::string("\"\"") : std::string(1, c);
    to_ += '"';
    return *this;
  }
  CsvWriter& number(double value, int decimals) {
    comma();
    fmt::format_to(std::back_inserter(to_), "{:.{}f}", value == 0 ? 0.0 : value, decimals);
    return *this;
  }
  CsvWriter& number(const std::optional<double>& value, int decimals) {
    return value ? number(*value, decimals) : text("");
  }
  CsvWriter& whole(std::int64_t value) {
    comma();
    fmt::format_to(std::back_inserter(to_), "{}", value);
    return *this;
  }
  void end() {
    to_ += "\r\n";
    is_first_ = true;
  }

 private:
  void comma() {
    if (!is_first_) to_ += ',';
    is_first_ = false;
  }
  std::string& to_;
  bool is_first_ = true;
};

}  // namespace roundel::present
