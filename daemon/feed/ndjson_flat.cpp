#include "daemon/feed/ndjson_flat.h"

#include <algorithm>
#include <bit>
#include <cstring>

#include "daemon/feed/number.h"

namespace roundel::feed {
namespace {

constexpr std::array<bool, 256> plain = [] {
  std::array<bool, 256> table{};
  for (std::size_t c = 0x20; c < 0x7f; ++c) table[c] = c != '"' && c != '\\';
  return table;
}();
bool is_plain(char c) { return plain[static_cast<unsigned char>(c)]; }

// Steps through one line: each takes the place to look at and the line's end, and returns the place
// behind what the grammar of a plain flat object asks for there (RFC 8259), or nullptr where that
// is not to be found. Places are handed on by value, so that they stay in registers.

const char* skip_blanks(const char* at, const char* end) {
  while (at != end && (*at == ' ' || *at == '\t')) ++at;
  return at;
}

const char* take(const char* at, const char* end, char c) {
  return at != end && *at == c ? at + 1 : nullptr;
}

const char* take(const char* at, const char* end, std::string_view word) {
  if (static_cast<std::size_t>(end - at) < word.size() ||
      std::memcmp(at, word.data(), word.size()) != 0)
    return nullptr;
  return at + word.size();
}

// As take(word) for a word of up to 32 bytes. All 32 are compared, and what counts of them is cut
// out by the mask: to compare just as many as there are would be a call.
const char* take(const char* at, const char* end, const std::array<std::uint64_t, 4>& bytes,
                 const std::array<std::uint64_t, 4>& mask, std::size_t size) {
  std::array<std::uint64_t, 4> here;
  if (static_cast<std::size_t>(end - at) < sizeof here)
    return take(at, end, std::string_view(reinterpret_cast<const char*>(bytes.data()), size));
  std::memcpy(here.data(), at, sizeof here);
  std::uint64_t differs = 0;
  for (std::size_t i = 0; i < here.size(); ++i) differs |= (here[i] ^ bytes[i]) & mask[i];
  return differs == 0 ? at + size : nullptr;
}

// After the opening quote, up to and with the closing one.
const char* take_json_string(const char* at, const char* end, std::string_view& text) {
  const char* const begin = at;
  while (at != end && is_plain(*at)) ++at;
  text = {begin, static_cast<std::size_t>(at - begin)};
  return take(at, end, '"');
}

const char* take_json_number(const char* at, const char* end, double& value) {
  const bool negative = at != end && *at == '-';
  if (negative) ++at;
  const char* const integer = at;
  Decimal decimal;
  at = take_decimal(at, end, decimal);
  const std::ptrdiff_t n_integer = decimal.n_digits - decimal.n_decimals;
  if (n_integer == 0 || (n_integer > 1 && *integer == '0')) return nullptr;
  if (decimal.has_point && decimal.n_decimals == 0) return nullptr;
  if (!decimal.is_exact()) return nullptr;
  value = negative ? -decimal.value() : decimal.value();
  return at;
}

const char* take_json_value(const char* at, const char* end, FieldValue& value) {
  if (at == end) return nullptr;
  if (*at == '-' || is_digit(*at)) {
    value.kind = FieldValue::Kind::number;
    return take_json_number(at, end, value.number);
  }
  switch (*at) {
    case '"':
      value.kind = FieldValue::Kind::text;
      return take_json_string(at + 1, end, value.text);
    case 't':
      value.kind = FieldValue::Kind::boolean;
      value.truth = true;
      return take(at, end, "true");
    case 'f':
      value.kind = FieldValue::Kind::boolean;
      value.truth = false;
      return take(at, end, "false");
    case 'n':
      value.kind = FieldValue::Kind::absent;
      return take(at, end, "null");
    default:
      return nullptr;
  }
}

}  // namespace

FlatNdjsonExtractor::FlatNdjsonExtractor(const config::Layout& layout) {
  by_first_letter_.fill(none);
  openings_.resize(2);
  openings_.reserve(max_openings);
  usable_ = !layout.each;
  for (const auto& [index, at] : wanted_fields(layout)) {
    const std::string& pointer = at.name;
    const std::string_view name = std::string_view(pointer).substr(pointer.empty() ? 0 : 1);
    usable_ = usable_ && index < 64 && pointer.starts_with('/') && !name.empty() &&
              std::all_of(name.begin(), name.end(), is_plain) &&
              name.find_first_of("/~") == std::string_view::npos;
    if (!usable_) return;
    const std::string quoted = std::string(name) + '"';
    auto key = std::find_if(keys_.begin(), keys_.end(),
                            [&](const Key& other) { return other.quoted == quoted; });
    if (key == keys_.end()) {
      // Newest first in the chain; there are few of one letter.
      std::uint8_t& first = by_first_letter_[static_cast<unsigned char>(quoted.front())];
      const std::uint8_t next = first;
      first = static_cast<std::uint8_t>(keys_.size());
      key = keys_.insert(keys_.end(), Key{quoted, 0, next});
    }
    key->targets |= std::uint64_t{1} << index;
  }
}

const FlatNdjsonExtractor::Key* FlatNdjsonExtractor::find(std::string_view rest) const {
  if (rest.empty() || !is_plain(rest.front())) return nullptr;
  std::uint8_t index = by_first_letter_[static_cast<unsigned char>(rest.front())];
  while (index != none) {
    const Key& key = keys_[index];
    if (rest.starts_with(key.quoted)) return &key;
    index = key.next;
  }
  return nullptr;
}

// Where the opening that these bytes are stands, a new one if there is room; it follows that one.
std::uint8_t FlatNdjsonExtractor::remembered(std::uint8_t before, std::string_view bytes,
                                             std::uint64_t targets) {
  Opening opening;
  if (bytes.size() > sizeof opening.bytes) return not_kept;
  std::memcpy(opening.bytes.data(), bytes.data(), bytes.size());
  std::memset(opening.mask.data(), 0xff, bytes.size());
  opening.size = static_cast<std::uint8_t>(bytes.size());
  opening.targets = targets;
  auto known = std::find_if(openings_.begin(), openings_.end(), [&](const Opening& other) {
    return other.size == opening.size && other.bytes == opening.bytes;
  });
  if (known == openings_.end()) {
    if (openings_.size() == max_openings) return not_kept;
    known = openings_.insert(openings_.end(), opening);
  }
  return openings_[before].next = static_cast<std::uint8_t>(known - openings_.begin());
}

bool FlatNdjsonExtractor::extract(std::string_view line, std::span<FieldValue> values) {
  std::fill(values.begin(), values.end(), FieldValue{});
  const char* at = line.data();
  const char* const end = at + line.size();
  std::uint64_t seen = 0;
  std::uint8_t before = line_begins;
  if ((at = take(at, end, '{')) == nullptr) return false;
  for (;;) {
    std::uint64_t targets = 0;
    const std::uint8_t next = openings_[before].next;
    const Opening& usual = openings_[next];
    const char* opened =
        next == not_kept ? nullptr : take(at, end, usual.bytes, usual.mask, usual.size);
    if (opened != nullptr) {
      targets = usual.targets;
      before = next;
    } else {
      if ((opened = take_opening(at, end, targets)) == nullptr) return false;
      before = remembered(before, {at, static_cast<std::size_t>(opened - at)}, targets);
    }
    // The first of a repeated key counts. Written where it belongs: what has just been written in
    // small pieces would have to wait before it is copied in large ones.
    if (targets == 0 || (seen & targets) != 0) {
      FieldValue unwanted;
      at = take_json_value(opened, end, unwanted);
    } else {
      seen |= targets;
      FieldValue& value = values[static_cast<std::size_t>(std::countr_zero(targets))];
      at = take_json_value(opened, end, value);
      for (targets &= targets - 1; targets != 0; targets &= targets - 1)
        values[static_cast<std::size_t>(std::countr_zero(targets))] = value;
    }
    if (at == nullptr) return false;
    at = skip_blanks(at, end);
    if (at == end || *at != ',') break;
    ++at;
  }
  return take(at, end, '}') == end;
}

// A member up to its value, and what it is for.
const char* FlatNdjsonExtractor::take_opening(const char* at, const char* end,
                                              std::uint64_t& targets) const {
  if ((at = take(skip_blanks(at, end), end, '"')) == nullptr) return nullptr;
  if (const Key* const key = find({at, static_cast<std::size_t>(end - at)})) {
    at += key->quoted.size();
    targets = key->targets;
  } else if (std::string_view unknown; (at = take_json_string(at, end, unknown)) == nullptr) {
    return nullptr;
  }
  at = take(skip_blanks(at, end), end, ':');
  return at == nullptr ? nullptr : skip_blanks(at, end);
}

}  // namespace roundel::feed
