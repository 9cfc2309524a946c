#include <fmt/format.h>

#include <algorithm>

#include "roundel/feed/guesser.h"

namespace roundel::feed {
namespace {

// A basic string of TOML 1.0: quotes, backslashes and control characters escaped.
std::string toml_string(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (c == '\t') {
      out += "\\t";
    } else if (byte < 0x20 || byte == 0x7f) {
      out += fmt::format("\\u{:04X}", byte);
    } else {
      out += c;
    }
  }
  return out + '"';
}

std::string list(const std::vector<std::string>& texts) {
  std::string out = "[";
  for (const std::string& text : texts) out += (out.size() > 1 ? ", " : "") + toml_string(text);
  return out + "]";
}

std::string place(const config::FieldAt& at) {
  if (at.outside) return fmt::format("{{ outside = {} }}", toml_string(at.name));
  return at.column ? fmt::format("{}", *at.column) : toml_string(at.name);
}

std::string test(const config::Keep& keep) {
  const std::string texts = keep.texts.size() == 1 ? toml_string(keep.texts[0]) : list(keep.texts);
  switch (keep.test) {
    case config::KeepTest::equals:
      return "equals = " + texts;
    case config::KeepTest::lists:
      return "lists = " + texts;
    case config::KeepTest::lacks:
      return "lacks = " + texts;
    case config::KeepTest::absent:
      break;
  }
  return "absent = true";
}

// Letters, digits, dash and underscore need no quotes in a key.
std::string key(const std::string& name) {
  const bool bare = !name.empty() && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '_';
  });
  return bare ? name : toml_string(name);
}

}  // namespace

std::string to_toml(const config::Layout& layout) {
  const bool is_columns = layout.kind == config::LayoutKind::columns;
  std::string out = fmt::format("[layout.{}]\n", key(layout.name));
  const auto line = [&](std::string_view name, const std::string& value) {
    out += fmt::format("{} = {}\n", name, value);
  };
  const auto field = [&](std::string_view name, const std::optional<config::FieldAt>& at) {
    if (at) line(name, place(*at));
  };
  const bool is_pairs = layout.kind == config::LayoutKind::pairs;
  line("kind", is_columns ? "\"columns\"" : is_pairs ? "\"pairs\"" : "\"ndjson\"");
  if (is_columns || is_pairs)
    line("delimiter", toml_string(std::string_view(&layout.delimiter, 1)));
  if (is_pairs && layout.between != '=')
    line("between", toml_string(std::string_view(&layout.between, 1)));
  if (layout.each) line("each", toml_string(*layout.each));
  if (layout.line_bytes != (layout.each ? config::most_line_bytes : config::usual_line_bytes))
    line("line_bytes", fmt::format("{}", layout.line_bytes));
  if (layout.decimal_comma) line("decimal", "\",\"");
  if (layout.header) line("header", "true");
  field("address", layout.address);
  field("latitude", layout.latitude);
  field("longitude", layout.longitude);
  field("date", layout.date);
  field("time", layout.time);
  if (!layout.zone.empty()) line("zone", toml_string(layout.zone));
  field("age_s", layout.age);
  if (layout.time_unit == config::TimeUnit::milliseconds) line("time_unit", "\"ms\"");
  if (layout.time_unit == config::TimeUnit::seconds) line("time_unit", "\"s\"");
  field(layout.altitude_unit == config::AltitudeUnit::m ? "altitude_m" : "altitude_ft",
        layout.altitude);
  field("signal_dbfs", layout.signal);
  field("on_ground", layout.on_ground);
  if (!layout.missing.empty()) line("missing", list(layout.missing));
  if (!layout.keep.empty()) {
    std::string keeps;
    for (const config::Keep& keep : layout.keep) {
      const char* where = keep.at.column ? "column"
                          : is_columns   ? "name"
                          : is_pairs     ? "key"
                                         : "pointer";
      keeps += fmt::format("{}{{ {} = {}, {} }}", keeps.empty() ? "" : ", ", where, place(keep.at),
                           test(keep));
    }
    line("keep", "[" + keeps + "]");
  }
  if (layout.carry_s > 0) line("carry_s", fmt::format("{}", layout.carry_s));
  return out;
}

}  // namespace roundel::feed
