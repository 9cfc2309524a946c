#include "daemon/program/log.h"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

namespace roundel::program {

Log make_log() {
  auto logger = std::make_shared<spdlog::logger>("roundeld",
                                                 std::make_shared<spdlog::sinks::stderr_sink_mt>());
  logger->set_pattern("%Y-%m-%dT%H:%M:%SZ %l %v", spdlog::pattern_time_type::utc);
  logger->flush_on(spdlog::level::info);
  return [logger](Level level, std::string_view line) {
    switch (level) {
      case Level::info:
        logger->info(line);
        break;
      case Level::warning:
        logger->warn(line);
        break;
      case Level::error:
        logger->error(line);
        break;
    }
  };
}

}  // namespace roundel::program
