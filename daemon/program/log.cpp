#include "daemon/program/log.h"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <cstdlib>
#include <memory>

namespace roundel::program {
namespace {

spdlog::level::level_enum level_of(Level level) {
  switch (level) {
    case Level::info:
      return spdlog::level::info;
    case Level::warning:
      return spdlog::level::warn;
    case Level::error:
      return spdlog::level::err;
  }
  return spdlog::level::err;
}

std::string_view journal_mark(Level level) {
  return level == Level::info ? "<6>" : level == Level::warning ? "<4>" : "<3>";
}

}  // namespace

Log standard_log() {
  const auto logger = std::make_shared<spdlog::logger>(
      "roundeld", std::make_shared<spdlog::sinks::stderr_sink_mt>());
  const bool is_journal = std::getenv("JOURNAL_STREAM") != nullptr;
  logger->set_pattern(is_journal ? "%v" : "%Y-%m-%dT%H:%M:%SZ %l %v",
                      spdlog::pattern_time_type::utc);
  return [logger, is_journal](Level level, std::string_view line) {
    if (is_journal)
      logger->log(level_of(level), "{}{}", journal_mark(level), line);
    else
      logger->log(level_of(level), "{}", line);
  };
}

}  // namespace roundel::program
