// roundeld check-config: is the configuration sound?
#include <fmt/format.h>

#include <memory>

#include "daemon/program/command.h"
#include "roundel/config/config.h"

namespace roundel::program {

void add_check_config(CLI::App& app, Run& run) {
  const auto file = std::make_shared<std::string>();
  CLI::App* command =
      app.add_subcommand("check-config", "Read the configuration and say if it is sound");
  command->add_option("--config", *file, "roundel.toml")->required();
  command->callback([file, &run] {
    run = [file]() -> Result<int> {
      const auto config = config::load(*file);
      if (!config) return tl::unexpected(config.error());
      fmt::print("{}: sound; {} feed(s), {} antenna(s), database {}\n", *file, config->feeds.size(),
                 config->antennas.size(), config->store.string());
      return 0;
    };
  });
}

}  // namespace roundel::program
