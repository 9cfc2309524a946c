#include "daemon/feed/ndjson_flat.h"

#include <algorithm>
#include <bit>
#include <cstring>

#include "daemon/feed/ndjson.h"
#include "daemon/feed/number.h"

namespace roundel::feed {
namespace {

constexpr std::array<bool, 256> plain = [] {
  std::array<bool, 256> table{};
  for (std::size_t c = 0x20; c < 0x7f; ++c) table[c] = c != '"' && c != '\\';
  return table;
}();
bool is_plain(char c) { return plain[static_cast<unsigned char>(c)]; }

// A cursor over one line. Each step says whether it found what the grammar of a plain flat object
// asks for (RFC 8259); the caller gives up at the first that didn't.
struct Cursor {
  const char* at;
  const char* end;

  bool done() const { return at == end; }
  void skip_blanks() {
    while (at != end && (*at == ' ' || *at == '\t')) ++at;
  }
  bool take(char c) {
    if (at == end || *at != c) return false;
    ++at;
    return true;
  }
  bool take(std::string_view word) {
    if (static_cast<std::size_t>(end - at) < word.size() ||
        std::memcmp(at, word.data(), word.size()) != 0)
      return false;
    at += word.size();
    return true;
  }

  // As take(word) for a word of up to 32 bytes. All 32 are compared, and what counts of them is cut
  // out by the mask: to compare just as many as there are would be a call.
  bool take(const std::array<std::uint64_t, 4>& bytes, const std::array<std::uint64_t, 4>& mask,
            std::size_t size) {
    std::array<std::uint64_t, 4> here;
    if (static_cast<std::size_t>(end - at) < sizeof here)
      return take(std::string_view(reinterpret_cast<const char*>(bytes.data()), size));
    std::memcpy(here.data(), at, sizeof here);
    std::uint64_t differs = 0;
    for (std::size_t i = 0; i < here.size(); ++i) differs |= (here[i] ^ bytes[i]) & mask[i];
    if (differs != 0) return false;
    at += size;
    return true;
  }

  // After the opening quote, up to and with the closing one. Loops have a pointer of their own:
  // `at` would be written to memory with each step.
  bool string(std::string_view& text) {
    const char* here = at;
    while (here != end && is_plain(*here)) ++here;
    text = {at, static_cast<std::size_t>(here - at)};
    at = here;
    return take('"');
  }

  bool number(double& value) {
    const char* here = at;
    const bool negative = here != end && *here == '-';
    if (negative) ++here;
    const char* const integer = here;
    std::uint64_t digits = 0;
    here = take_digits(here, end, digits);
    auto n_digits = here - integer;
    if (n_digits == 0 || (n_digits > 1 && *integer == '0')) return false;
    std::ptrdiff_t decimals = 0;
    if (here != end && *here == '.') {
      const char* const fraction = ++here;
      here = take_digits(here, end, digits);
      decimals = here - fraction;
      n_digits += decimals;
      if (decimals == 0) return false;
    }
    at = here;
    if (n_digits > max_quick_digits || digits > max_exact_integer) return false;
    value = static_cast<double>(digits);
    if (decimals > 0) value /= exact_powers_of_ten[decimals];
    if (negative) value = -value;
    return true;
  }

  bool value(FieldValue& value) {
    if (done()) return false;
    switch (*at) {
      case '"':
        ++at;
        value.kind = FieldValue::Kind::text;
        return string(value.text);
      case 't':
        value.kind = FieldValue::Kind::boolean;
        value.truth = true;
        return take("true");
      case 'f':
        value.kind = FieldValue::Kind::boolean;
        value.truth = false;
        return take("false");
      case 'n':
        value.kind = FieldValue::Kind::absent;
        return take("null");
      default:
        value.kind = FieldValue::Kind::number;
        return number(value.number);
    }
  }
};

}  // namespace

FlatNdjsonExtractor::FlatNdjsonExtractor(const config::Layout& layout) {
  by_first_letter_.fill(none);
  openings_.resize(2);
  openings_.reserve(max_openings);
  for (const auto& [index, pointer] : wanted_pointers(layout)) {
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
  Cursor in{line.data(), line.data() + line.size()};
  std::uint64_t seen = 0;
  std::uint8_t before = line_begins;
  if (!in.take('{')) return false;
  do {
    std::uint64_t targets = 0;
    const std::uint8_t next = openings_[before].next;
    const Opening& usual = openings_[next];
    if (next != not_kept && in.take(usual.bytes, usual.mask, usual.size)) {
      targets = usual.targets;
      before = next;
    } else {
      const char* const begin = in.at;
      in.skip_blanks();
      if (!in.take('"')) return false;
      const Key* const key = find({in.at, static_cast<std::size_t>(in.end - in.at)});
      if (key != nullptr) {
        in.at += key->quoted.size();
        targets = key->targets;
      } else if (std::string_view unknown; !in.string(unknown)) {
        return false;
      }
      in.skip_blanks();
      if (!in.take(':')) return false;
      in.skip_blanks();
      before = remembered(before, {begin, static_cast<std::size_t>(in.at - begin)}, targets);
    }
    // The first of a repeated key counts. Written where it belongs: what has just been written in
    // small pieces would have to wait before it is copied in large ones.
    if (targets == 0 || (seen & targets) != 0) {
      FieldValue unwanted;
      if (!in.value(unwanted)) return false;
    } else {
      seen |= targets;
      FieldValue& value = values[static_cast<std::size_t>(std::countr_zero(targets))];
      if (!in.value(value)) return false;
      for (targets &= targets - 1; targets != 0; targets &= targets - 1)
        values[static_cast<std::size_t>(std::countr_zero(targets))] = value;
    }
    in.skip_blanks();
  } while (in.take(','));
  return in.take('}') && in.done();
}

}  // namespace roundel::feed
