#include "analysis/present/svg.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace roundel::present {

std::string svg_number(double value) {
  const double rounded = std::round(value * 100) / 100;
  return fmt::format("{}", rounded == 0 ? 0.0 : rounded);  // no -0
}

std::string escaped(std::string_view text) {
  std::string out;
  for (char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        if (static_cast<unsigned char>(c) >= 0x20 || c == '\n' || c == '\t') out += c;
    }
  }
  return out;
}

std::string unbroken(std::string_view text) {
  constexpr std::array<std::string_view, 10> units{"km",  "NM",      "m",     "ft",   "dB",
                                                   "deg", "degrees", "hours", "days", "%"};
  const auto is_digit = [&](std::size_t at) {
    return at < text.size() && text[at] >= '0' && text[at] <= '9';
  };
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != ' ' || i == 0 || !is_digit(i - 1)) {
      out += text[i];
      continue;
    }
    const std::string_view rest = text.substr(i + 1);
    const std::string_view word = rest.substr(0, rest.find_first_of(" .,;:()"));
    const bool is_unit = std::find(units.begin(), units.end(), word) != units.end();
    // Groups of a number have three digits.
    const bool is_group = is_digit(i + 1) && is_digit(i + 2) && is_digit(i + 3) && !is_digit(i + 4);
    if (is_unit || is_group)
      out += "\u00a0";
    else
      out += ' ';
  }
  return out;
}

void Svg::start(std::string_view element, Attributes attributes) {
  out_ += fmt::format("<{}", element);
  for (const auto& [name, value] : attributes)
    out_ += fmt::format(" {}=\"{}\"", name, escaped(value));
}

void Svg::open(std::string_view element, Attributes attributes) {
  start(element, attributes);
  out_ += ">\n";
  open_.emplace_back(element);
}

void Svg::close() {
  assert(!open_.empty());
  out_ += fmt::format("</{}>\n", open_.back());
  open_.pop_back();
}

void Svg::leaf(std::string_view element, Attributes attributes) {
  start(element, attributes);
  out_ += "/>\n";
}

void Svg::leaf(std::string_view element, Attributes attributes, std::string_view text) {
  start(element, attributes);
  out_ += fmt::format(">{}</{}>\n", escaped(text), element);
}

std::string Svg::take() {
  assert(open_.empty());
  return std::move(out_);
}

}  // namespace roundel::present
