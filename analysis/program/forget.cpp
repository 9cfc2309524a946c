// roundel forget: drops the addresses of aircraft that passed long ago.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/text_table.h"
#include "roundel/schema/store.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

struct ForgetCommand {
  std::string database;
  double older_than_days = 0;
};

Result<int> run_forget(const ForgetCommand& command) {
  if (!(command.older_than_days >= 0 && command.older_than_days <= 36'500))
    return fail(Errc::bad_usage, fmt::format("{} days", command.older_than_days),
                "--older-than-days", "give an age from 0 to 36500");
  // Opening for writing would make a database where none is.
  if (auto there = schema::Store::open(command.database, schema::Store::Access::read); !there)
    return tl::unexpected(there.error());
  auto store = schema::Store::open(command.database, schema::Store::Access::write);
  if (!store) return tl::unexpected(store.error());
  const auto n_flights = store->forget_addresses(now_s() - command.older_than_days * 86'400);
  if (!n_flights) return tl::unexpected(n_flights.error());
  fmt::print("The addresses of {} flights are forgotten.\n", grouped(*n_flights));
  return 0;
}

}  // namespace

void add_forget(CLI::App& app, Run& run) {
  const auto command = std::make_shared<ForgetCommand>();
  CLI::App& sub = *app.add_subcommand("forget", "drop the addresses of aircraft of long ago");
  sub.add_option("DB", command->database, "the database")->required();
  sub.add_option("--older-than-days", command->older_than_days, "of flights that ended before that")
      ->required();
  sub.callback([command, &run] { run = [command] { return run_forget(*command); }; });
}

}  // namespace roundel::program
