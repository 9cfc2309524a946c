// roundel separate: what is the antenna's, what the mount's, what the receiver's?
#include "roundel/trial/separate.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/selection.h"
#include "analysis/program/text_table.h"
#include "roundel/present/separate.h"
#include "roundel/present/units.h"
#include "roundel/schema/store.h"

namespace roundel::program {
namespace {

struct SeparateCommand {
  std::string database;
  SelectionOptions selection;
  double confidence = 0.95;
  bool json = false;
};

std::string tables(const trial::Separation& s) {
  using Align = TextTable::Align;
  TextTable heard({{"antenna", Align::left},
                   {"rotation", Align::right},
                   {"receiver", Align::left},
                   {"mount", Align::left},
                   {"flights", Align::right}});
  for (const auto& one : s.arrangements)
    heard.add({one.antenna, present::bearing_text(one.rotation_deg), one.receiver, one.mount,
               present::grouped(one.flights)});
  TextTable orders({{"part", Align::left},
                    {"order", Align::right},
                    {"dB", Align::right},
                    {"interval", Align::right},
                    {"most towards", Align::right}});
  const auto add = [&](const char* kind, const std::vector<trial::Part>& parts) {
    for (const auto& part : parts) {
      const std::string name = fmt::format("{} {}", kind, part.name);
      if (parts.size() > 1)
        orders.add({name, "mean",
                    part.offset.identified ? fmt::format("{:+.2f}", part.offset.value_db) : "-",
                    part.offset.identified
                        ? fmt::format("{:+.2f} {:+.2f}", part.offset.low_db, part.offset.high_db)
                        : "-",
                    ""});
      for (const auto& one : part.harmonics)
        orders.add({name, std::to_string(one.order),
                    one.identified ? fmt::format("{:.2f}", one.amplitude_db) : "-",
                    one.identified ? fmt::format("{:.2f} {:.2f}", one.low_db, one.high_db) : "-",
                    one.identified ? present::bearing_text(one.phase_deg) : "-"});
    }
  };
  add("antenna", s.antennas);
  add("mount", s.mounts);
  add("receiver", s.receivers);
  return heard.text() + "\n" + orders.text();
}

Result<int> run_separate(const SeparateCommand& command) {
  const auto selection = command.selection.selection();
  if (!selection) return tl::unexpected(selection.error());
  const auto store = schema::Store::open(command.database, schema::Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const auto result = trial::separate(*store, *selection, command.confidence);
  if (!result) return tl::unexpected(result.error());
  if (command.json) {
    fmt::print("{}\n", present::separate_json(*result));
    return 0;
  }
  fmt::print("{}\n", present::separate_sentence(*result));
  for (const auto& one : result->not_identified) fmt::print("Not told apart: {}.\n", one);
  for (const auto& one : result->advice) fmt::print("{}\n", one);
  fmt::print("\n{}", tables(*result));
  return 0;
}

}  // namespace

void add_separate(CLI::App& app, Run& run) {
  auto command = std::make_shared<SeparateCommand>();
  CLI::App& sub =
      *app.add_subcommand("separate", "what is the antenna's, the receiver's, the mount's");
  sub.add_option("DB", command->database, "the database of roundeld")->required();
  add_selection(sub, command->selection);
  sub.add_option("--confidence", command->confidence, "of intervals (0.95)");
  sub.add_flag("--json", command->json, "print JSON");
  sub.callback([command, &run] { run = [command] { return run_separate(*command); }; });
}

}  // namespace roundel::program
