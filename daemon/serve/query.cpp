#include "daemon/serve/query.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "roundel/time.h"

namespace roundel::serve {
namespace {

constexpr std::size_t max_pairs = 32;

// Text from outside, as it may stand in a message.
std::string in_quotes(std::string_view text) {
  return fmt::format("\"{}\"{}", text.substr(0, 40), text.size() > 40 ? "..." : "");
}

// Well-formed as Unicode 15, table 3-7 has it: no overlong forms, surrogates or beyond U+10FFFF.
bool is_utf8(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  for (std::size_t i = 0; i < text.size();) {
    const unsigned char lead = byte(i);
    std::size_t length = 1;
    unsigned char low = 0x80, high = 0xBF;
    if (lead >= 0xC2 && lead <= 0xDF) {
      length = 2;
    } else if (lead >= 0xE0 && lead <= 0xEF) {
      length = 3;
      if (lead == 0xE0) low = 0xA0;
      if (lead == 0xED) high = 0x9F;
    } else if (lead >= 0xF0 && lead <= 0xF4) {
      length = 4;
      if (lead == 0xF0) low = 0x90;
      if (lead == 0xF4) high = 0x8F;
    } else if (lead >= 0x80) {
      return false;
    }
    if (i + length > text.size()) return false;
    for (std::size_t k = 1; k < length; ++k, low = 0x80, high = 0xBF) {
      if (byte(i + k) < low || byte(i + k) > high) return false;
    }
    i += length;
  }
  return true;
}

bool is_text(std::string_view text) {
  return is_utf8(text) && std::ranges::none_of(text, [](char c) {
           return static_cast<unsigned char>(c) < 0x20 || c == 0x7F;
         });
}

int hex_digit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

// Where a piece ends: at the separator, or at the end.
std::string_view take_until(std::string_view& rest, char separator) {
  const auto end = std::min(rest.find(separator), rest.size());
  const auto piece = rest.substr(0, end);
  rest.remove_prefix(std::min(end + 1, rest.size()));
  return piece;
}

Result<std::vector<schema::Id>> read_trials(std::string_view list) {
  std::vector<schema::Id> out;
  while (!list.empty()) {
    const auto piece = take_until(list, ',');
    schema::Id id{};
    const auto [end, error] = std::from_chars(piece.data(), piece.data() + piece.size(), id);
    if (error != std::errc{} || end != piece.data() + piece.size() || id < 1) {
      return fail(Errc::bad_usage, in_quotes(piece) + " is not a trial's number", "trial",
                  "write it like trial=3 or trial=3,4; /api/trials lists them");
    }
    out.push_back(id);
  }
  if (out.empty()) return fail(Errc::bad_usage, "names no trial", "trial", "write trial=3");
  return out;
}

// One key's value into its place. False: not a key of selections.
Result<bool> select(schema::Selection& out, std::string_view key, std::string_view value) {
  const auto name = [&](std::optional<std::string>& place) -> Result<bool> {
    if (value.empty()) return fail(Errc::bad_usage, "names nothing", std::string(key));
    place = value;
    return true;
  };
  const auto time = [&](std::optional<double>& place) -> Result<bool> {
    auto parsed = parse_time(value);
    if (!parsed) {
      parsed.error().where = key;
      return tl::unexpected(std::move(parsed.error()));
    }
    place = *parsed;
    return true;
  };
  if (key == "antenna") return name(out.antenna);
  if (key == "receiver") return name(out.receiver);
  if (key == "mount") return name(out.mount);
  if (key == "feed") return name(out.feed);
  if (key == "from") return time(out.from_s);
  if (key == "to") return time(out.to_s);
  if (key != "trial") return false;
  auto trials = read_trials(value);
  if (!trials) return tl::unexpected(std::move(trials.error()));
  out.trials = std::move(*trials);
  return true;
}

Result<schema::Selection> ordered(schema::Selection selection) {
  if (selection.from_s && selection.to_s && *selection.from_s >= *selection.to_s) {
    return fail(Errc::bad_usage, "from is not before to", "from", "swap them");
  }
  return selection;
}

}  // namespace

std::optional<std::string> percent_decode(std::string_view text, bool plus_is_space) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      out += plus_is_space && text[i] == '+' ? ' ' : text[i];
      continue;
    }
    if (i + 2 >= text.size()) return {};
    const int high = hex_digit(text[i + 1]), low = hex_digit(text[i + 2]);
    if (high < 0 || low < 0) return {};
    out += static_cast<char>(high * 16 + low);
    i += 2;
  }
  return out;
}

Result<Query> Query::parse(std::string_view text) {
  Query out;
  while (!text.empty()) {
    std::string_view pair = take_until(text, '&');
    if (pair.empty()) continue;
    const std::string_view raw_key = take_until(pair, '=');
    auto key = percent_decode(raw_key, true), value = percent_decode(pair, true);
    if (!key || !value || !is_text(*key) || !is_text(*value)) {
      return fail(Errc::malformed, "the query is not percent-encoded UTF-8 text", "query",
                  "encode every value, a space as %20");
    }
    if (out.get(*key)) return fail(Errc::malformed, in_quotes(*key) + " is given twice", "query");
    if (out.pairs_.size() == max_pairs) {
      return fail(Errc::malformed, fmt::format("more than {} keys", max_pairs), "query");
    }
    out.pairs_.emplace_back(std::move(*key), std::move(*value));
  }
  std::ranges::sort(out.pairs_);
  return out;
}

std::optional<std::string_view> Query::get(std::string_view key) const {
  const auto found = std::ranges::find(pairs_, key, [](const auto& pair) { return pair.first; });
  if (found == pairs_.end()) return {};
  return found->second;
}

Result<void> Query::accept_only(std::span<const std::string_view> keys) const {
  for (const auto& [key, value] : pairs_) {
    if (std::ranges::find(keys, key) != keys.end()) continue;
    return fail(Errc::bad_usage, in_quotes(key) + " is not known here", "query",
                keys.size() == 0 ? "leave the query out"
                                 : fmt::format("known are {}", fmt::join(keys, ", ")));
  }
  return {};
}

Query Query::with(std::string key, std::string value) const {
  Query out = *this;
  out.pairs_.emplace_back(std::move(key), std::move(value));
  std::ranges::sort(out.pairs_);
  return out;
}

Query Query::without(std::string_view key) const {
  Query out = *this;
  std::erase_if(out.pairs_, [&](const auto& pair) { return pair.first == key; });
  return out;
}

std::string Query::canonical() const {
  std::string out;
  // Keys and values hold no control characters, so these two part them without doubt.
  for (const auto& [key, value] : pairs_) out += key + '\x1F' + value + '\x1E';
  return out;
}

Result<schema::Selection> read_selection(const Query& query) {
  schema::Selection out;
  for (const auto key : selection_keys) {
    const auto value = query.get(key);
    if (!value) continue;
    if (auto done = select(out, key, *value); !done) return tl::unexpected(done.error());
  }
  return ordered(std::move(out));
}

Result<schema::Selection> read_selection(std::string_view word) {
  schema::Selection out;
  std::string_view rest = word;
  std::vector<std::string_view> seen;
  while (!rest.empty()) {
    std::string_view pair = take_until(rest, ',');
    const bool has_value = pair.find('=') != std::string_view::npos;
    const std::string_view key = take_until(pair, '=');
    if (std::ranges::find(seen, key) != seen.end() && key != "trial") {
      return fail(Errc::bad_usage, in_quotes(key) + " is given twice", std::string(word));
    }
    seen.push_back(key);
    const auto known_trials = out.trials;
    const auto done = has_value ? select(out, key, pair) : Result<bool>(false);
    if (!done) return tl::unexpected(done.error());
    if (!*done) {
      return fail(Errc::bad_usage, in_quotes(key) + " selects nothing", std::string(word),
                  fmt::format("write key=value pairs with commas between; keys are {}",
                              fmt::join(selection_keys, ", ")));
    }
    if (key == "trial") {
      out.trials.insert(out.trials.begin(), known_trials.begin(), known_trials.end());
    }
  }
  return ordered(std::move(out));
}

Result<double> read_number(const Query& query, std::string_view key, double low, double high,
                           double otherwise) {
  const auto text = query.get(key);
  if (!text) return otherwise;
  double value{};
  const auto [end, error] =
      std::from_chars(text->data(), text->data() + text->size(), value, std::chars_format::fixed);
  if (error != std::errc{} || end != text->data() + text->size() || !(value >= low) ||
      !(value <= high)) {
    return fail(Errc::out_of_range, in_quotes(*text) + " is out of range", std::string(key),
                fmt::format("give a number from {} to {}", low, high));
  }
  return value;
}

}  // namespace roundel::serve
