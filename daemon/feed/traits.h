// What the values at one place of a sample have in common, and what its name suggests.
#pragma once
#include <cstddef>
#include <initializer_list>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/feed/sample_table.h"

namespace roundel::feed {

using Rows = std::vector<std::size_t>;  ///< indexes into SampleTable::rows

/// Counts over the rows in which the place has a value, unless said otherwise.
struct Traits {
  std::size_t n_present = 0;
  std::size_t n_numbers = 0;  ///< of any kind, text included; the next ones are among these
  double min = 0, max = 0;    ///< of the numbers
  std::size_t n_negative = 0, n_positive = 0;
  std::size_t n_fine = 0;         ///< with three decimals or more
  std::size_t n_decimals = 0;     ///< with any
  std::size_t n_steps_of_25 = 0;  ///< whole multiples
  std::size_t n_steps_of_64 = 0;
  std::size_t n_steps_of_25ft_in_m = 0;  ///< metres that are a multiple of 25 ft, to their rounding
  std::size_t n_hex = 0;                 ///< six hex digits, with or without 0x
  std::size_t n_hex_letters = 0;         ///< of these, with a letter among the digits
  std::size_t n_marked_hex = 0;          ///< six hex digits behind another sign
  std::size_t n_addresses = 0;           ///< whatever reads as a 24-bit address
  std::size_t n_octal = 0;               ///< four digits 0 to 7
  std::size_t n_flags = 0;               ///< true, 0, -1, N and the like
  std::size_t n_instants = 0;            ///< RFC 3339 with time and offset
  std::size_t n_local = 0;               ///< the same without the offset
  std::size_t n_dates = 0, n_times_of_day = 0;  ///< of which neither is an instant
  std::size_t n_decimal_commas = 0;
  std::map<std::string, std::size_t> texts;  ///< that are no numbers, with how often (at most 64)
  std::size_t n_distinct = 0;                ///< values, at most 1000

  /// Share of the present values; 0 where there are none.
  double share(std::size_t count) const;
};

Traits traits_of(const SampleTable& table, std::size_t place, const Rows& rows);

/// The words of a name in lower case: "altBaro_ft" is alt, baro, ft. Of a JSON pointer its last
/// token that isn't an index.
std::vector<std::string> words_of(std::string_view label);
/// Whether any of the words is among those given.
bool any_word(const std::vector<std::string>& words, std::initializer_list<std::string_view> of);

enum class TimeKind { none, seconds, milliseconds, instants, local };
/// How times at this place are written, by its values; none where they aren't points in time
/// between 2000 and 2100.
TimeKind time_kind(const Traits& traits);
/// Unix seconds of a value at such a place.
std::optional<double> time_s(const SampleValue& value, TimeKind kind);

/// An address as the layout reader would take it.
std::optional<std::uint32_t> address_of(const SampleValue& value);

}  // namespace roundel::feed
