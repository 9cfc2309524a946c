// Decimal numbers from text: exact, and quick for the short ones that feeds print.
#pragma once
#include <charconv>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string_view>

namespace roundel::feed {

/// Powers of ten that a double holds exactly.
inline constexpr double exact_powers_of_ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,
                                                 1e7,  1e8,  1e9,  1e10, 1e11, 1e12, 1e13,
                                                 1e14, 1e15, 1e16, 1e17, 1e18};
/// The longest run of digits that cannot overflow 64 bits.
inline constexpr int max_quick_digits = 18;
/// Whole numbers up to here are exact as double.
inline constexpr std::uint64_t max_exact_integer = std::uint64_t{1} << 53;

inline bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Appends the digits at `at` to the number. Returns where they end; of more than max_quick_digits
/// in all the number is of no use.
///
/// One by one: a processor guesses where a loop ends, and reads on from there. To find the end of
/// eight digits at once takes fewer instructions, and was slower by an eighth, as all that follows
/// has to wait for it.
inline const char* take_digits(const char* at, const char* end, std::uint64_t& number) {
  std::uint64_t digits = number;
  for (; at != end && is_digit(*at); ++at)
    digits = digits * 10 + static_cast<std::uint64_t>(*at - '0');
  number = digits;
  return at;
}

/// Digits, with or without a point among them.
struct Decimal {
  std::uint64_t digits = 0;
  std::ptrdiff_t n_digits = 0, n_decimals = 0;
  bool has_point = false;

  /// Both operands of the division in value() are exact, so its result is the correctly rounded
  /// value (IEEE 754; W. D. Clinger 1990, "How to read floating point numbers accurately", fast
  /// path).
  bool is_exact() const { return n_digits <= max_quick_digits && digits <= max_exact_integer; }
  /// @pre is_exact()
  double value() const {
    const auto whole = static_cast<double>(digits);
    return n_decimals > 0 ? whole / exact_powers_of_ten[n_decimals] : whole;
  }
};

/// Takes as many digits as there are, and those behind a point. Returns where they end.
inline const char* take_decimal(const char* at, const char* end, Decimal& decimal) {
  const char* const integer = at;
  at = take_digits(at, end, decimal.digits);
  decimal.n_digits = at - integer;
  if (at == end || *at != '.') return at;
  decimal.has_point = true;
  const char* const fraction = ++at;
  at = take_digits(at, end, decimal.digits);
  decimal.n_decimals = at - fraction;
  decimal.n_digits += decimal.n_decimals;
  return at;
}

/// A finite number that is the whole of `text` (no blanks), correctly rounded. False: it is none,
/// and `value` of no use.
inline bool parse_number(std::string_view text, double& value) {
  const char* at = text.data();
  const char* const end = at + text.size();
  const bool negative = at != end && *at == '-';
  if (at != end && (*at == '-' || *at == '+')) ++at;
  const char* const unsigned_part = at;

  if (end - at <= max_quick_digits + 1) {
    Decimal decimal;
    at = take_decimal(at, end, decimal);
    if (at == end && decimal.n_digits > 0 && decimal.is_exact()) {
      value = negative ? -decimal.value() : decimal.value();
      return true;
    }
  }

  // from_chars would take another sign here.
  if (unsigned_part == end || *unsigned_part == '-') return false;
  const auto [stop, error] = std::from_chars(unsigned_part, end, value);
  if (negative) value = -value;
  return error == std::errc{} && stop == end && std::isfinite(value);
}

inline std::optional<double> parse_number(std::string_view text) {
  double value{};
  return parse_number(text, value) ? std::optional(value) : std::nullopt;
}

}  // namespace roundel::feed
