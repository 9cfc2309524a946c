// Finds an aircraft's address and its latitude and longitude among the places of a sample.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "daemon/feed/sample_table.h"
#include "daemon/feed/tracks.h"
#include "daemon/feed/traits.h"

namespace roundel::feed {

/// Lines of several kinds are told apart by the text at one place.
struct KindOfLine {
  std::size_t place;
  std::vector<std::string> values;  ///< of the lines with positions
};

struct PositionGuess {
  PositionPlaces places{};
  std::optional<TimePlace> time;   ///< used to judge the speed
  std::optional<KindOfLine> kind;  ///< where only lines of some kinds can be read this way
  TrackEvidence evidence;
  bool named = false;        ///< names say latitude and longitude
  std::string order_reason;  ///< why latitude is which
  double order_confidence = 0;
  double score = 0;  ///< to compare guesses; grows with evidence
};

/// The best guess over all lines, or over the lines of one kind where that fails.
std::optional<PositionGuess> guess_position(const SampleTable& table);

/// The first place with points in time on these rows; a named one before others.
std::optional<TimePlace> first_time(const SampleTable& table, const Rows& rows);

/// Rows on which all three places can be read, of the right kind where there are kinds.
Rows rows_with_position(const SampleTable& table, const PositionGuess& guess);

Rows all_rows(const SampleTable& table);
/// Places with 2 to 12 texts or small numbers that recur, on nearly all rows.
std::vector<std::size_t> places_of_kinds(const SampleTable& table);

}  // namespace roundel::feed
