// [layout.NAME] tables.
#pragma once
#include "analysis/config/toml_value.h"
#include "roundel/config/config.h"

namespace roundel::config {

/// Reads one, and checks that its fields agree with its kind. Errc::bad_config.
Result<Layout> read_layout(const std::string& name, const Value& table, const std::string& file);

}  // namespace roundel::config
