// Writes SVG: elements, attributes, escaped text.
#pragma once
#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace roundel::present {

/// A number to a hundredth, without trailing zeros: coordinates need no more.
std::string svg_number(double value);
/// For text and attributes: markup escaped, characters that XML 1.0 forbids left out.
std::string escaped(std::string_view text);

/// With no-break spaces inside numbers (1 000) and between numbers and their units (402 km), so
/// that no line ends there.
std::string unbroken(std::string_view text);

class Svg {
 public:
  using Attributes = std::initializer_list<std::pair<std::string_view, std::string>>;
  void open(std::string_view element, Attributes attributes = {});
  void close();
  void leaf(std::string_view element, Attributes attributes);
  void leaf(std::string_view element, Attributes attributes, std::string_view text);
  /// As it is, for a style sheet.
  void raw(std::string_view text) { out_ += text; }
  /// What was written; all elements must be closed (asserted).
  std::string take();

 private:
  void start(std::string_view element, Attributes attributes);
  std::string out_;
  std::vector<std::string> open_;
};

}  // namespace roundel::present
