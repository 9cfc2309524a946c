// What a person is shown of a feed: a sample, what each place seems to mean, and a layout.
#pragma once
#include <span>
#include <string>

#include "roundel/feed/guesser.h"

namespace roundel::feed {

struct PeekOptions {
  std::string source;  ///< shown: "127.0.0.1:27411", "sample.csv.gz"
  double took_s = 0;   ///< shown if not 0
  bool layout_only = false;
};

/// The text of `roundeld peek`, ending in a line break: places with examples, guesses with reason,
/// doubts, and the [layout] table where there is one. With layout_only the table alone, empty
/// where there is none. Control characters from the feed are shown as dots.
std::string peek(std::span<const std::string> lines, const GuessedLayout& guessed,
                 const PeekOptions& options);

/// The same for programs, as one JSON object.
std::string peek_json(const GuessedLayout& guessed, const PeekOptions& options);

}  // namespace roundel::feed
