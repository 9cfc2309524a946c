#include "daemon/feed/traits.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <set>

#include "daemon/feed/assemble.h"
#include "daemon/feed/number.h"
#include "roundel/time.h"

namespace roundel::feed {
namespace {

constexpr std::size_t max_texts = 64, max_distinct = 1000;
constexpr double year_2000_s = 946684800, year_2100_s = 4102444800;

bool is_hex(char c) { return std::isxdigit(static_cast<unsigned char>(c)) != 0; }

// Texts against a shape: '9' stands for a digit, everything else for itself.
bool has_shape(std::string_view text, std::string_view shape) {
  return text.size() >= shape.size() &&
         std::equal(shape.begin(), shape.end(), text.begin(),
                    [](char want, char c) { return want == '9' ? is_digit(c) : want == c; });
}

bool is_date(std::string_view text) {
  return text.size() == 10 && (has_shape(text, "9999-99-99") || has_shape(text, "9999/99/99") ||
                               has_shape(text, "99.99.9999") || has_shape(text, "99/99/9999"));
}

bool is_flag(const SampleValue& value) {
  if (value.kind == FieldValue::Kind::boolean) return true;
  if (value.number) return *value.number == 0 || std::abs(*value.number) == 1;
  for (std::string_view word : {"true", "false", "t", "f", "yes", "no", "y", "n"})
    if (std::equal(word.begin(), word.end(), value.text.begin(), value.text.end(),
                   [](char a, char b) { return a == std::tolower(static_cast<unsigned char>(b)); }))
      return true;
  return false;
}

void count_number(Traits& traits, const SampleValue& value) {
  const double number = *value.number;
  traits.min = traits.n_numbers == 0 ? number : std::min(traits.min, number);
  traits.max = traits.n_numbers == 0 ? number : std::max(traits.max, number);
  ++traits.n_numbers;
  traits.n_negative += number < 0;
  traits.n_positive += number > 0;
  const std::size_t point = value.text.find_first_of(".,");
  const std::size_t n_decimals = point == std::string::npos ? 0 : value.text.size() - point - 1;
  traits.n_decimals += n_decimals > 0;
  traits.n_fine += n_decimals >= 3;
  traits.n_steps_of_25 += std::fmod(number, 25) == 0;
  traits.n_steps_of_64 += std::fmod(number, 64) == 0;
  const double rounding_m =
      0.5 * std::pow(10, -static_cast<double>(std::min<std::size_t>(n_decimals, 2)));
  const double step_m = 25 * 0.3048;
  traits.n_steps_of_25ft_in_m += std::abs(std::remainder(number, step_m)) <= rounding_m;
}

void count_text(Traits& traits, const std::string& text) {
  std::string_view digits = text;
  if (digits.starts_with("0x") || digits.starts_with("0X")) digits.remove_prefix(2);
  if (digits.size() == 6 && std::all_of(digits.begin(), digits.end(), is_hex)) {
    ++traits.n_hex;
    traits.n_hex_letters += !std::all_of(digits.begin(), digits.end(), is_digit);
  }
  traits.n_marked_hex += text.size() == 7 && std::ispunct(static_cast<unsigned char>(text[0])) &&
                         std::all_of(text.begin() + 1, text.end(), is_hex);
  traits.n_octal += text.size() == 4 && std::all_of(text.begin(), text.end(),
                                                    [](char c) { return c >= '0' && c <= '7'; });
  traits.n_dates += is_date(text);
  traits.n_times_of_day += has_shape(text, "99:99:99");
  if (text.size() > 10 && has_shape(text, "9999-99-99")) {
    const bool has_offset = parse_time(text).has_value();
    traits.n_instants += has_offset;
    traits.n_local += !has_offset && parse_time(text + "Z");
  }
  const std::size_t comma = text.find(',');
  if (comma != std::string::npos && comma > 0 && comma + 1 < text.size())
    traits.n_decimal_commas += std::all_of(
        text.begin(), text.end(), [](char c) { return is_digit(c) || c == ',' || c == '-'; });
}

}  // namespace

double Traits::share(std::size_t count) const {
  return n_present == 0 ? 0 : static_cast<double>(count) / static_cast<double>(n_present);
}

Traits traits_of(const SampleTable& table, std::size_t place, const Rows& rows) {
  Traits traits;
  std::set<std::string_view> distinct;
  for (const std::size_t row : rows) {
    const SampleValue& value = table.at(row, place);
    if (!value.present()) continue;
    ++traits.n_present;
    if (distinct.size() < max_distinct) distinct.insert(value.text);
    traits.n_flags += is_flag(value);
    if (value.number)
      count_number(traits, value);
    else if (const auto found = traits.texts.find(value.text); found != traits.texts.end())
      ++found->second;
    else if (traits.texts.size() < max_texts)
      traits.texts.emplace(value.text, 1);
    if (value.kind == FieldValue::Kind::text) count_text(traits, value.text);
    traits.n_addresses += address_of(value).has_value();
  }
  traits.n_distinct = distinct.size();
  return traits;
}

std::vector<std::string> words_of(std::string_view label) {
  if (label.starts_with('/')) {
    for (;;) {
      const std::size_t slash = label.rfind('/');
      const std::string_view token = label.substr(slash + 1);
      if (slash == 0 || !std::all_of(token.begin(), token.end(), is_digit)) {
        label = token;
        break;
      }
      label = label.substr(0, slash);
    }
  }
  std::vector<std::string> words;
  bool begins = true, after_lower = false;
  for (const char c : label) {
    const auto byte = static_cast<unsigned char>(c);
    if (std::isalnum(byte) == 0) {
      begins = true;
      continue;
    }
    const bool upper = std::isupper(byte) != 0;
    if (begins || (upper && after_lower)) words.emplace_back();
    words.back().push_back(static_cast<char>(std::tolower(byte)));
    begins = false;
    after_lower = !upper;
  }
  return words;
}

bool any_word(const std::vector<std::string>& words, std::initializer_list<std::string_view> of) {
  return std::any_of(words.begin(), words.end(), [&](const std::string& word) {
    return std::find(of.begin(), of.end(), word) != of.end();
  });
}

TimeKind time_kind(const Traits& traits) {
  constexpr double of_one_kind = 0.98;
  if (traits.n_present == 0) return TimeKind::none;
  if (traits.share(traits.n_instants) >= of_one_kind) return TimeKind::instants;
  if (traits.share(traits.n_local) >= of_one_kind) return TimeKind::local;
  if (traits.share(traits.n_numbers) < of_one_kind) return TimeKind::none;
  const auto within = [&](double unit) {
    return traits.min >= year_2000_s * unit && traits.max <= year_2100_s * unit;
  };
  if (within(1)) return TimeKind::seconds;
  if (within(1000)) return TimeKind::milliseconds;
  return TimeKind::none;
}

std::optional<double> time_s(const SampleValue& value, TimeKind kind) {
  if (kind == TimeKind::instants || kind == TimeKind::local) {
    if (const auto time = parse_time(value.text + (kind == TimeKind::local ? "Z" : "")))
      return *time;
    return std::nullopt;
  }
  if (kind == TimeKind::none || !value.number) return std::nullopt;
  return kind == TimeKind::milliseconds ? *value.number / 1000 : *value.number;
}

std::optional<std::uint32_t> address_of(const SampleValue& value) {
  FieldValue as_read;
  as_read.kind = value.kind;
  as_read.text = value.text;
  as_read.number = value.number.value_or(0);
  std::uint32_t address{};
  return parse_address(as_read, address) ? std::optional(address) : std::nullopt;
}

}  // namespace roundel::feed
