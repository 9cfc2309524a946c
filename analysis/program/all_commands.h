#pragma once

namespace roundel::program {

/// Reads roundel's command line and does what it asks for. Returns the exit code; errors are one
/// line on standard error.
int run_command_line(int argc, char** argv);

}  // namespace roundel::program
