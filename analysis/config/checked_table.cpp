#include "analysis/config/checked_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <cassert>
#include <charconv>

#include "analysis/config/address.h"

namespace roundel::config {
namespace {

// Insertions, deletions, changes and swaps of neighbours (optimal string alignment), as typing
// errors are.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::vector<std::size_t>> d(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i) d[i][0] = i;
  for (std::size_t j = 0; j <= b.size(); ++j) d[0][j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = d[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
    }
  }
  return d[a.size()][b.size()];
}

bool is_one_line(std::string_view text) {
  return std::none_of(text.begin(), text.end(),
                      [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; });
}

// Why a text cannot name anything, or empty. Commas and equals signs stand between the parts of a
// selection on the command line ("antenna=collinear,from=...").
std::string_view name_fault(std::string_view text) {
  if (text.empty()) return "is empty";
  if (text.size() > 60) return "is longer than 60 bytes";
  if (!is_one_line(text)) return "holds a control character";
  if (text.find_first_of(",=") != std::string_view::npos) return "holds a comma or equals sign";
  if (text.front() == ' ' || text.back() == ' ') return "begins or ends with a space";
  return {};
}

bool fits(Kind kind, Value::Kind value) {
  switch (kind) {
    case Kind::name:
    case Kind::text:
    case Kind::connect:
    case Kind::listen:
    case Kind::get:
    case Kind::choice:
    case Kind::byte:
    case Kind::pointer:
      return value == Value::Kind::text;
    case Kind::number:
      return value == Value::Kind::number || value == Value::Kind::integer;
    case Kind::integer:
      return value == Value::Kind::integer;
    case Kind::boolean:
      return value == Value::Kind::boolean;
    case Kind::field:
      return value == Value::Kind::text || value == Value::Kind::integer ||
             value == Value::Kind::table;
    case Kind::texts:
      return value == Value::Kind::text || value == Value::Kind::list;
    case Kind::tables:
      return value == Value::Kind::list;
  }
  return false;
}

// What to write in place of a URL, or empty where the text is none.
std::string remedy_for_url(std::string_view text, Kind kind) {
  const auto scheme = text.find("://");
  if (scheme == std::string_view::npos) return {};
  std::string_view place = text.substr(scheme + 3);
  place = place.substr(0, place.find_first_of("/?#"));
  if (kind == Kind::connect && text.starts_with("http://"))
    return fmt::format(
        "for lines of text over TCP write connect = \"HOST:PORT\"; to ask for the document again "
        "and again write get = {}",
        shown(text));
  const char* const lead = kind == Kind::connect ? "connect" : "listen";
  return parse_connect(place) ? fmt::format("write {} = \"{}\"", lead, place)
                              : fmt::format("write {} = \"HOST:PORT\"", lead);
}

std::vector<std::string> split_choices(std::string_view choices) {
  std::vector<std::string> out{""};
  for (const char c : choices) {
    if (c == '|')
      out.emplace_back();
    else
      out.back() += c;
  }
  return out;
}

}  // namespace

std::string shown(std::string_view text) {
  constexpr std::size_t longest = 60;
  std::string out = "\"";
  for (const char c : text.substr(0, longest)) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7f)
      out += fmt::format("\\x{:02x}", byte);
    else
      out += c;
  }
  return out + (text.size() > longest ? "...\"" : "\"");
}

std::string suggestion(std::string_view wrong, const std::vector<std::string>& words,
                       std::string_view lead) {
  std::string_view best;
  // A third of the letters wrong is a typing error, more is another word. A key longer than all
  // others is no slip either, and comparing it would take long.
  std::size_t least = wrong.size() > 40 ? 1 : std::min<std::size_t>(3, wrong.size() / 3 + 1) + 1;
  for (const std::string& word : words) {
    const std::size_t d = wrong.size() > 40 ? least : distance(wrong, word);
    if (d < least) {
      least = d;
      best = word;
    }
  }
  if (!best.empty()) return fmt::format("did you mean \"{}\"?", best);
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return fmt::format("{}: {}", lead, out);
}

// A JSON Pointer is empty or begins with "/", and "~" stands only before 0 or 1 (RFC 6901, section
// 3).
bool is_pointer(std::string_view text) {
  if (!text.empty() && !text.starts_with('/')) return false;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '~' && (i + 1 == text.size() || (text[i + 1] != '0' && text[i + 1] != '1')))
      return false;
  return true;
}

Result<CheckedTable> CheckedTable::make(const Value* table, std::string_view section,
                                        std::string title, std::string file) {
  CheckedTable out;
  out.table_ = table;
  out.section_ = section;
  out.title_ = std::move(title);
  out.file_ = std::move(file);
  if (table) {
    for (const auto& [name, value] : table->entries)
      if (auto ok = out.check_key(name, value); !ok) return tl::unexpected(ok.error());
  }
  for (const Key& key : keys()) {
    if (key.section != section || key.default_value != required || out.has(key.key)) continue;
    return out.refuse({}, fmt::format("lacks {}", key.key),
                      fmt::format("add {} = {}{}{}", key.key, accepted_words(key),
                                  key.meaning.empty() ? "" : ": ", key.meaning));
  }
  return out;
}

Result<void> CheckedTable::check_key(const std::string& name, const Value& value) const {
  if (const Key* key = find_key(section_, name)) return check_value(*key, value);
  std::vector<std::string> known;
  for (const Key& key : keys())
    if (key.section == section_) known.emplace_back(key.key);
  std::string remedy = suggestion(name, known, "it has");
  // Heights and lengths are in metres; a layout alone takes feet as well.
  if (name.ends_with("_ft"))
    if (const Key* metres = find_key(section_, name.substr(0, name.size() - 2) + "m"))
      remedy = value.kind == Value::Kind::integer || value.kind == Value::Kind::number
                   ? fmt::format("write {} = {:.1f}, in metres", metres->key, value.number * 0.3048)
                   : fmt::format("write {}, in metres", metres->key);
  Error error{Errc::bad_config, fmt::format("{} has no key {}", title_, shown(name)),
              fmt::format("{}:{}", file_, value.line), std::move(remedy)};
  return tl::unexpected(std::move(error));
}

Result<void> CheckedTable::check_value(const Key& key, const Value& value) const {
  const auto wrong = [&](std::string_view what, std::string remedy = {}) {
    return refuse(key.key, fmt::format("{} {}", key.key, what), std::move(remedy));
  };
  if (!fits(key.kind, value.kind))
    return wrong(fmt::format("is {}", words(value.kind)),
                 fmt::format("use {}", accepted_words(key)));
  switch (key.kind) {
    case Kind::number:
    case Kind::integer:
      // Written so that "not a number" is refused as well.
      if (!(value.number >= key.low && value.number <= key.high))
        return wrong(fmt::format("is {}", value.number),
                     fmt::format("use {} to {}{}{}", key.low, key.high, key.unit.empty() ? "" : " ",
                                 key.unit));
      return {};
    case Kind::name:
      if (const auto fault = name_fault(value.text); !fault.empty())
        return wrong(fmt::format("{} {}", shown(value.text), fault), "choose another");
      return {};
    case Kind::text:
      if (value.text.empty()) return wrong("is empty");
      if (!is_one_line(value.text))
        return wrong(fmt::format("{} holds a control character", shown(value.text)));
      return {};
    case Kind::byte:
      if (value.text.size() != 1 ||
          std::string_view("\"\r\n").find(value.text[0]) != std::string_view::npos)
        return wrong(
            fmt::format("is {}", shown(value.text)),
            "use one character such as \",\" \";\" \"|\" or \"\\t\", not a quotation mark");
      return {};
    case Kind::choice: {
      const auto choices = split_choices(key.choices);
      if (std::find(choices.begin(), choices.end(), value.text) == choices.end())
        return wrong(fmt::format("is {}", shown(value.text)),
                     suggestion(value.text, choices, "use one of"));
      return {};
    }
    case Kind::pointer:
      if (!is_pointer(value.text))
        return wrong(fmt::format("{} is not a JSON Pointer", shown(value.text)),
                     "it is \"\" or begins with \"/\"");
      return {};
    case Kind::get: {
      const auto source = parse_get(value.text);
      if (!source)
        return wrong(fmt::format("{}: {}", shown(value.text), source.error().what),
                     source.error().remedy.empty() ? "write http://HOST[:PORT]/PATH"
                                                   : source.error().remedy);
      return {};
    }
    case Kind::connect:
    case Kind::listen: {
      if (const auto remedy = remedy_for_url(value.text, key.kind); !remedy.empty())
        return wrong(fmt::format("is {}, a URL", shown(value.text)), remedy);
      const bool is_listen = key.kind == Kind::listen;
      const auto endpoint = is_listen ? parse_listen(value.text) : parse_connect(value.text);
      if (!endpoint)
        return wrong(fmt::format("{}: {}", shown(value.text), endpoint.error().what),
                     is_listen ? "write ADDRESS:PORT, like 127.0.0.1:27411 or 0.0.0.0:27411"
                               : "write HOST:PORT, like 127.0.0.1:27411 or [::1]:27411");
      return {};
    }
    case Kind::texts:
      for (const Value& item : value.items)
        if (item.kind != Value::Kind::text)
          return wrong(fmt::format("holds {}", words(item.kind)), "write texts, in quotes");
      return {};
    case Kind::tables:
      for (const Value& item : value.items)
        if (item.kind != Value::Kind::table)
          return wrong(fmt::format("holds {}", words(item.kind)),
                       "write tables: [{ column = 2, equals = \"P\" }]");
      return {};
    case Kind::boolean:
    case Kind::field:
      return {};
  }
  return {};
}

bool CheckedTable::has(std::string_view key) const { return value(key) != nullptr; }

const Value* CheckedTable::value(std::string_view key) const {
  return table_ ? table_->find(key) : nullptr;
}

const Key& CheckedTable::key_of(std::string_view key) const {
  const Key* row = find_key(section_, key);
  assert(row);
  return *row;
}

std::string_view CheckedTable::default_of(std::string_view key) const {
  const std::string_view text = key_of(key).default_value;
  assert(text != required && text != none);
  return text;
}

std::string CheckedTable::text(std::string_view key) const {
  if (const Value* found = value(key)) return found->text;
  std::string_view quoted = default_of(key);
  assert(quoted.size() >= 2 && quoted.front() == '"' && quoted.back() == '"');
  return std::string(quoted.substr(1, quoted.size() - 2));
}

double CheckedTable::number(std::string_view key) const {
  if (const Value* found = value(key)) return found->number;
  const std::string_view text = default_of(key);
  double out{};
  [[maybe_unused]] const auto parsed = std::from_chars(text.data(), text.data() + text.size(), out);
  assert(parsed.ec == std::errc{});
  return out;
}

int CheckedTable::integer(std::string_view key) const {
  assert(key_of(key).kind == Kind::integer && key_of(key).high <= 1e9);
  return static_cast<int>(number(key));
}

bool CheckedTable::boolean(std::string_view key) const {
  if (const Value* found = value(key)) return found->boolean;
  return default_of(key) == "true";
}

std::vector<std::string> CheckedTable::texts(std::string_view key) const {
  std::vector<std::string> out;
  const Value* found = value(key);
  if (!found) return out;
  if (found->kind == Value::Kind::text) return {found->text};
  for (const Value& item : found->items) out.push_back(item.text);
  return out;
}

std::optional<Endpoint> CheckedTable::connect(std::string_view key) const {
  if (!has(key)) return std::nullopt;
  return *parse_connect(text(key));
}

std::optional<PolledSource> CheckedTable::get(std::string_view key) const {
  if (!has(key)) return std::nullopt;
  return *parse_get(text(key));
}

std::optional<Endpoint> CheckedTable::listen(std::string_view key) const {
  if (!has(key) && key_of(key).default_value == none) return std::nullopt;
  return *parse_listen(text(key));
}

tl::unexpected<Error> CheckedTable::refuse(std::string_view key, std::string_view what,
                                           std::string remedy) const {
  const Value* at = key.empty() ? nullptr : value(key);
  return fail(Errc::bad_config, fmt::format("{} {}", title_, what),
              fmt::format("{}:{}", file_, at ? at->line : line()), std::move(remedy));
}

}  // namespace roundel::config
