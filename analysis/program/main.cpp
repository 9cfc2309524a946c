// roundel: concludes from what roundeld has recorded.
#include <cstdio>

#include "analysis/program/command.h"

int main(int argc, char** argv) {
  using namespace roundel;
  CLI::App app{"roundel: what an antenna hears, and how sure that is", "roundel"};
  app.require_subcommand(1);
  program::Run run;
  // One line a command, in the order a person meets them.
  program::add_trial(app, run);
  program::add_status(app, run);
  program::add_reach(app, run);
  program::add_report(app, run);
  program::add_export(app, run);
  program::add_simulate(app, run);
  program::add_verdict(app, run);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);
    std::fprintf(stderr, "roundel: %s; see roundel --help\n", error.what());
    return 2;
  }
  if (!run) return 2;
  const Result<int> result = run();
  if (result) return *result;
  std::fprintf(stderr, "roundel: %s\n", result.error().line().c_str());
  return exit_code(result.error().code);
}
