// The commands of `roundeld`: each file here adds one to the command line.
#pragma once
#include <CLI/CLI.hpp>
#include <cstdio>
#include <functional>
#include <string>

#include "roundel/result.h"

namespace roundel::program {

/// What the chosen command will do once the command line has been read: its exit code, or an
/// error that main prints as one line.
using Run = std::function<Result<int>()>;

// One line a command, alphabetical.
void add_check_config(CLI::App& app, Run& run);
void add_load(CLI::App& app, Run& run);
void add_peek(CLI::App& app, Run& run);
void add_run(CLI::App& app, Run& run);

/// On standard output, as it is.
inline void print(const std::string& text) { std::fwrite(text.data(), 1, text.size(), stdout); }

}  // namespace roundel::program
