// roundel drift: has it changed over time?
#include "roundel/trial/drift.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "roundel/present/drift.h"
#include "roundel/present/units.h"
#include "roundel/schema/store.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

constexpr int alert_code = 3;

struct DriftCommand {
  std::string database;
  SelectionOptions selection;
  std::optional<double> alert_db;
  bool summaries = false, json = false;
};

std::string text(const trial::Drift& drift) {
  using Align = TextTable::Align;
  TextTable out({{"day", Align::left},
                 {"index dB", Align::right},
                 {"interval", Align::right},
                 {"flights", Align::right}});
  for (const auto& day : drift.days)
    out.add({format_time(static_cast<double>(day.start_s)).substr(0, 10),
             fmt::format("{:+.2f}", day.index_db),
             fmt::format("{:+.2f} {:+.2f}", day.low_db, day.high_db),
             present::grouped(day.flights)});
  std::string lines = out.text();
  for (const auto& note : drift.notes)
    lines +=
        fmt::format("Noted {}: {}\n", format_time(static_cast<double>(note.time_s)), note.text);
  return lines;
}

Result<int> run_drift(const DriftCommand& command) {
  if (command.alert_db && !(*command.alert_db > 0))
    return fail(Errc::bad_usage, "an alert needs a step above 0 dB", "--alert-db", "1 is usual");
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const auto drift = trial::drift(*store, *selection, command.summaries);
  if (!drift) return tl::unexpected(drift.error());
  if (command.json)
    fmt::print("{}\n", present::drift_json(*drift));
  else
    fmt::print("{}\n\n{}", present::drift_sentence(*drift), text(*drift));
  for (const auto& change : drift->changes)
    if (command.alert_db && std::abs(change.step_db) >= *command.alert_db) return alert_code;
  return 0;
}

}  // namespace

void add_drift(CLI::App& app, Run& run) {
  auto command = std::make_shared<DriftCommand>();
  CLI::App& sub = *app.add_subcommand("drift", "has it changed over time? daily index, steps");
  sub.add_option("DB", command->database, "the database of roundeld")->required();
  add_selection(sub, command->selection);
  sub.add_option("--alert-db", command->alert_db, "exit with 3 on a step of so many dB or more");
  sub.add_flag("--summaries", command->summaries, "whole hours from their summaries: much quicker");
  sub.add_flag("--json", command->json, "print JSON");
  sub.callback([command, &run] { run = [command] { return run_drift(*command); }; });
}

}  // namespace roundel::program
