// What every --help ends with: one line that can be typed as it stands.
#pragma once
#include <CLI/CLI.hpp>
#include <initializer_list>
#include <string>

namespace roundel::program {

struct Example {
  const char* command;  ///< "trial start": a command, or one of a command's own
  const char* line;
};

/// Gives each command its example, and its help the width of a screen. To be called when all
/// commands have been added; one that does not exist is left out.
inline void add_examples(CLI::App& app, std::initializer_list<Example> examples) {
  for (const auto& [name, line] : examples) {
    CLI::App* command = &app;
    std::string rest = name;
    while (command && !rest.empty()) {
      const std::string word = rest.substr(0, rest.find(' '));
      rest.erase(0, std::min(rest.size(), word.size() + 1));
      const auto found =
          command->get_subcommands([&](const CLI::App* one) { return one->get_name() == word; });
      command = found.empty() ? nullptr : found.front();
    }
    if (command) command->footer(std::string("Example: ") + line);
  }
}

}  // namespace roundel::program
