// The commands of `roundel`: each file here adds one to the command line.
#pragma once
#include <CLI/CLI.hpp>
#include <functional>

#include "roundel/result.h"

namespace roundel::program {

/// What the chosen command will do once the command line has been read: its exit code, or an
/// error that main prints as one line.
using Run = std::function<Result<int>()>;

// One line a command, alphabetical.
void add_backup(CLI::App& app, Run& run);
void add_compare(CLI::App& app, Run& run);
void add_drift(CLI::App& app, Run& run);
void add_export(CLI::App& app, Run& run);
void add_forget(CLI::App& app, Run& run);
void add_mast(CLI::App& app, Run& run);
void add_expect(CLI::App& app, Run& run);
void add_reach(CLI::App& app, Run& run);
void add_report(CLI::App& app, Run& run);
void add_separate(CLI::App& app, Run& run);
void add_simulate(CLI::App& app, Run& run);
void add_status(CLI::App& app, Run& run);
void add_trial(CLI::App& app, Run& run);
void add_verdict(CLI::App& app, Run& run);

}  // namespace roundel::program
