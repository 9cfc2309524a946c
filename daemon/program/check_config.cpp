// roundeld check-config: is the configuration right, and what can it say?
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "daemon/program/command.h"
#include "roundel/config/config.h"

namespace roundel::program {
namespace {

struct CheckCommand {
  std::string file;
  bool keys = false, json = false;
};

std::string source_of(const config::Feed& feed) {
  if (feed.connect) return "connects to " + feed.connect->text();
  if (feed.listen) return "listens on " + feed.listen->text();
  if (feed.get) return fmt::format("asks for {} every {:g} s", feed.get->text(), feed.every_s);
  return "is loaded from files";
}

void print_keys() {
  for (const config::ReferenceRow& row : config::reference()) {
    if (row.key.empty()) {
      print(fmt::format("\n{}  {}\n", row.section, row.meaning));
      continue;
    }
    std::string accepted = row.type;
    if (!row.range.empty()) accepted += ", " + row.range;
    if (!row.unit.empty()) accepted += " " + row.unit;
    print(fmt::format("  {:<15} {}; {}{}\n", row.key, accepted,
                      row.default_value == "required" ? "required"
                      : row.default_value == "none"   ? "optional"
                                                      : "default " + row.default_value,
                      row.meaning.empty() ? "" : "\n" + std::string(18, ' ') + row.meaning));
  }
}

void print_keys_json() {
  nlohmann::ordered_json out = nlohmann::ordered_json::array();
  for (const config::ReferenceRow& row : config::reference()) {
    if (row.key.empty()) continue;
    out.push_back({{"section", row.section},
                   {"key", row.key},
                   {"type", row.type},
                   {"unit", row.unit},
                   {"range", row.range},
                   {"default", row.default_value},
                   {"meaning", row.meaning}});
  }
  print(out.dump(2) + "\n");
}

Result<int> check(const CheckCommand& options) {
  if (options.keys) {
    options.json ? print_keys_json() : print_keys();
    return 0;
  }
  if (options.file.empty())
    return fail(Errc::bad_usage, "--config is required", "check-config", "or --keys");
  const auto config = config::load(options.file);
  if (!config) return tl::unexpected(config.error());
  if (options.json) {
    nlohmann::ordered_json feeds = nlohmann::ordered_json::array();
    for (const config::Feed& feed : config->feeds)
      feeds.push_back(
          {{"name", feed.name}, {"layout", feed.layout.name}, {"source", source_of(feed)}});
    const nlohmann::ordered_json out{
        {"file", config->file.string()},
        {"store", config->store.string()},
        {"feeds", std::move(feeds)},
        {"web", config->web ? nlohmann::ordered_json(config->web->text()) : nullptr}};
    print(out.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
    return 0;
  }
  print(fmt::format("{}: good\n", config->file.string()));
  print(fmt::format("  store  {}\n", config->store.string()));
  for (const config::Feed& feed : config->feeds)
    print(fmt::format("  feed   {} {}, layout {}, {} on {}, receiver {}\n", feed.name,
                      source_of(feed), feed.layout.name, feed.antenna, feed.mount, feed.receiver));
  print(config->web ? fmt::format("  page   http://{}/\n", config->web->text())
                    : std::string("  page   off\n"));
  return 0;
}

}  // namespace

void add_check_config(CLI::App& app, Run& run) {
  const auto options = std::make_shared<CheckCommand>();
  CLI::App* command =
      app.add_subcommand("check-config", "Check the configuration, or print what it may hold");
  command->add_option("--config", options->file, "The configuration, roundel.toml")
      ->type_name("FILE");
  command->add_flag("--keys", options->keys, "Print every section and key with its default");
  command->add_flag("--json", options->json, "Print for programs");
  command->callback([options, &run] { run = [options] { return check(*options); }; });
}

}  // namespace roundel::program
