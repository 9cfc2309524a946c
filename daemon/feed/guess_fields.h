// Finds what else a line with a position says: time, altitude, signal, the on-ground flag; and
// which lines to keep.
#pragma once
#include <string>
#include <vector>

#include "daemon/feed/guess_position.h"
#include "daemon/feed/sample_table.h"
#include "roundel/feed/guesser.h"

namespace roundel::feed {

/// What the guessing of one field after another has so far. Each guess_ function fills in its part
/// of `layout`, and says what it concluded or why it couldn't.
struct GuessState {
  const SampleTable& table;
  const PositionGuess& position;
  Rows rows;  ///< with a position
  config::Layout& layout;
  std::vector<Guess>& guesses;
  std::vector<std::string>& doubts;
  std::vector<std::size_t> used;  ///< places that already have a meaning

  bool is_used(std::size_t place) const;
  /// Takes a place for a field and records the guess.
  config::FieldAt take(const std::string& field, std::size_t place, double confidence,
                       std::string reason);
};

void guess_time(GuessState& state);
/// After the time, by which ages of positions that stay the same grow.
void guess_age(GuessState& state);
void guess_altitude(GuessState& state);
void guess_signal(GuessState& state);
void guess_on_ground(GuessState& state);
/// After the altitude: lines that only bring that are kept as well.
void guess_keep(GuessState& state);
/// Last: the texts that stand for no value in the fields found.
void guess_missing(GuessState& state);
/// Very last: what tells positions that the antenna did not hear.
void guess_origin(GuessState& state);

}  // namespace roundel::feed
