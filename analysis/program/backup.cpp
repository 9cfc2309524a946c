// roundel backup: a copy of the database while roundeld records into it.
#include <fmt/format.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <filesystem>
#include <memory>

#include "analysis/program/command.h"
#include "roundel/present/units.h"
#include "roundel/schema/store.h"

namespace roundel::program {
namespace {

struct BackupCommand {
  std::string database, file;
};

Result<int> run_backup(const BackupCommand& command) {
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const bool is_shown = ::isatty(STDERR_FILENO) == 1;
  int shown_percent = -1;
  const auto copied = store->backup(command.file, [&](double share) {
    const int percent = static_cast<int>(100 * share);
    if (!is_shown || percent == shown_percent) return;
    shown_percent = percent;
    fmt::print(stderr, "\r{} %", percent);
  });
  if (is_shown) fmt::print(stderr, "\r     \r");
  if (!copied) return tl::unexpected(copied.error());
  std::error_code error;
  const auto bytes = std::filesystem::file_size(command.file, error);
  fmt::print("{} is a copy of {}, read through, {}.\n", command.file, command.database,
             present::bytes_text(static_cast<std::int64_t>(error ? 0 : bytes)));
  return 0;
}

}  // namespace

void add_backup(CLI::App& app, Run& run) {
  const auto command = std::make_shared<BackupCommand>();
  CLI::App& sub = *app.add_subcommand("backup", "a copy of the database, also while it records");
  sub.add_option("DB", command->database, "the database")->required();
  sub.add_option("FILE", command->file, "the copy; must not exist yet")->required();
  sub.callback([command, &run] { run = [command] { return run_backup(*command); }; });
}

}  // namespace roundel::program
