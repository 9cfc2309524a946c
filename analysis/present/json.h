// Habits of all JSON that is written: null for none, figures to the digits that mean something.
#pragma once
#include <cmath>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>

#include "roundel/time.h"

namespace roundel::present {

/// Keys stay in the order in which they were written.
using Json = nlohmann::ordered_json;

/// To so many decimals; nlohmann then prints the shortest text that reads back as that.
inline double rounded(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return std::round(value * scale) / scale;
}

inline Json time_or_null(const std::optional<std::int64_t>& time_s) {
  return time_s ? Json(format_time(static_cast<double>(*time_s))) : Json(nullptr);
}

inline Json or_null(const std::optional<double>& value, int decimals) {
  return value ? Json(rounded(*value, decimals)) : Json(nullptr);
}

}  // namespace roundel::present
