// From a sample of a feed's lines to a layout that reads them.
#pragma once
#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "roundel/config/config.h"
#include "roundel/feed/report.h"

namespace roundel::feed {

/// One thing concluded from the sample.
struct Guess {
  std::string field;    ///< a key of the [layout] table: kind, delimiter, latitude, keep ...
  std::string at;       ///< "column 7", "column 7 (lat)" or "/position/lat"; or the value itself
  double confidence{};  ///< [0, 1]: a rule of thumb, not a probability
  std::string reason;   ///< what in the values or names speaks for it
};

/// "sure" from 0.9, "likely" from 0.7, else "unsure".
std::string_view confidence_word(double confidence);

struct GuessedLayout {
  /// What the lines are made of, known even where the fields aren't: a layout without its fields.
  config::Layout lines_as{};

  /// Present if address, latitude and longitude were found and at least one line of the sample can
  /// be read with it.
  std::optional<config::Layout> layout;
  std::vector<Guess> guesses;       ///< in the order of the [layout] table
  std::vector<std::string> doubts;  ///< what cannot be told or cannot be read, one sentence each

  /// How the layout reads the sample.
  std::size_t n_lines{}, n_reports{}, n_aircraft{};
  std::array<std::size_t, reject_names.size()> n_rejected{};
};

/// Guesses from the values, helped by names where there are any (a header, JSON keys).
/// Tries JSON objects and arrays, one report each or many; keys with values; then columns by comma,
/// semicolon, tab, pipe and space.
///
/// The position is a pair of places with decimal degrees that move, from line to line of one
/// address, no faster than aircraft do; altitude comes in steps of 25 ft; and so on: each guess
/// says its reason. Never fails; what can't be told is among the doubts.
/// @param lines  in the order of arrival; the first 3000 are looked at
/// @param name   of the layout
GuessedLayout guess_layout(std::span<const std::string> lines, const std::string& name = "feed");

/// A `[layout.NAME]` table for roundel.toml, ending in a line break. config::parse() reads it back
/// as the same layout. With the default layout's values left out.
std::string to_toml(const config::Layout& layout);

}  // namespace roundel::feed
