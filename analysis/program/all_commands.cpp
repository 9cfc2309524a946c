#include "analysis/program/all_commands.h"

#include <cstdio>

#include "analysis/program/command.h"
#include "analysis/program/examples.h"

namespace roundel::program {

int run_command_line(int argc, char** argv) {
  CLI::App app{"roundel: what an antenna hears, and how sure that is", "roundel"};
  app.require_subcommand(1);
  app.get_formatter()->column_width(26);
  Run run;
  // One line a command, in the order a person meets them.
  add_trial(app, run);
  add_status(app, run);
  add_backup(app, run);
  add_forget(app, run);
  add_reach(app, run);
  add_report(app, run);
  add_export(app, run);
  add_expect(app, run);
  add_simulate(app, run);
  add_verdict(app, run);
  add_compare(app, run);
  add_separate(app, run);
  add_mast(app, run);
  add_drift(app, run);
  add_examples(
      app,
      {{"", "roundel verdict roundel.db --antenna collinear; roundel verdict --help tells more"},
       {"backup", "roundel backup roundel.db /media/stick/roundel.db"},
       {"compare", "roundel compare roundel.db --a antenna=collinear --b antenna=spider"},
       {"drift", "roundel drift roundel.db --antenna collinear --from 2026-03-01"},
       {"expect", "roundel expect roundel.db --altitude-ft 6000,38000"},
       {"export", "roundel export roundel.db --antenna collinear --as geojson -o reach.json"},
       {"forget", "roundel forget roundel.db --older-than-days 30"},
       {"mast", "roundel mast --radius-mm 25 --spacing-mm 275"},
       {"reach", "roundel reach roundel.db --antenna collinear --svg reach.svg"},
       {"report", "roundel report roundel.db --antenna collinear -o collinear.html"},
       {"separate", "roundel separate roundel.db"},
       {"simulate", "roundel simulate scenario.toml --out-dir feeds --truth truth.json"},
       {"status", "roundel status roundel.db"},
       {"trial", "roundel trial roundel.db list"},
       {"trial change", "roundel trial roundel.db change 1 --rotation-deg 90"},
       {"trial list", "roundel trial roundel.db list"},
       {"trial note", "roundel trial roundel.db note \"reseated the connector\""},
       {"trial rename", "roundel trial roundel.db rename antenna spinder spider"},
       {"trial split",
        "roundel trial roundel.db split 1 --at 2026-03-05T09:00:00Z --antenna spider"},
       {"trial start", "roundel trial roundel.db start --feed roof-a --antenna spider"},
       {"trial stop", "roundel trial roundel.db stop --feed roof-a --at 2026-03-04T12:00:00Z"},
       {"trial undo", "roundel trial roundel.db undo 2"},
       {"verdict", "roundel verdict roundel.db --antenna collinear --svg gain.svg"}});
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

}  // namespace roundel::program
