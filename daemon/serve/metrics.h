// /metrics: what a monitoring system scrapes, in OpenMetrics 1.0.0 text.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/serve/counters.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

inline constexpr std::string_view metrics_type =
    "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// All families, each once, ended by "# EOF". Times and sizes in base units (seconds, bytes,
/// metres). What is not known yet (no report so far) has no sample.
std::string metrics(const Live& live, const Counters& counters,
                    std::optional<std::int64_t> store_bytes);

}  // namespace roundel::serve
