// Which cells a command is about, as a person says it on the command line.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace CLI {
class App;
}

namespace roundel::program {

/// The options --antenna --receiver --mount --feed --trial --from --to as they were typed.
struct SelectionOptions {
  std::string antenna, receiver, mount, feed, from, to;
  std::vector<schema::Id> trials;

  /// Errc::bad_usage names the option whose value makes no sense.
  Result<schema::Selection> selection() const;
};

/// Adds the options to a command; `options` must live until the command line has been read.
void add_selection(CLI::App& command, SelectionOptions& options);

/// A selection in one word: "antenna=collinear,from=2026-03-01"; keys as the options' names, trial
/// may come more than once. `option` is named in errors (Errc::bad_usage).
Result<schema::Selection> parse_selection(std::string_view word, std::string_view option);

}  // namespace roundel::program
