// roundeld: records what feeds report, and serves what was concluded.
#include <cstdio>

#include "analysis/program/examples.h"
#include "daemon/program/command.h"

int main(int argc, char** argv) {
  using namespace roundel;
  CLI::App app{"roundeld: records what an antenna hears, and serves it", "roundeld"};
  app.require_subcommand(1);
  app.get_formatter()->column_width(26);
  program::Run run;
  // One line a command, in the order a person meets them.
  program::add_peek(app, run);
  program::add_check_config(app, run);
  program::add_load(app, run);
  program::add_run(app, run);
  program::add_examples(
      app, {{"", "roundeld run --config roundel.toml; roundeld run --help tells more"},
            {"check-config", "roundeld check-config --config roundel.toml"},
            {"load", "roundeld load --config roundel.toml --feed roof-a roof-a.ndjson.gz"},
            {"peek", "roundeld peek 127.0.0.1:27411"},
            {"run", "roundeld run --config roundel.toml"}});
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return app.exit(error);
    std::fprintf(stderr, "roundeld: %s; see roundeld --help\n", error.what());
    return 2;
  }
  if (!run) return 2;
  const Result<int> result = run();
  if (result) return *result;
  std::fprintf(stderr, "roundeld: %s\n", result.error().line().c_str());
  return exit_code(result.error().code);
}
