// Habits of all JSON that is written: null for none, figures to the digits that mean something.
#pragma once
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

namespace roundel::present {

/// Keys stay in the order in which they were written.
using Json = nlohmann::ordered_json;

/// To so many decimals; nlohmann then prints the shortest text that reads back as that.
inline double rounded(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return std::round(value * scale) / scale;
}

inline Json or_null(const std::optional<double>& value, int decimals) {
  return value ? Json(rounded(*value, decimals)) : Json(nullptr);
}

}  // namespace roundel::present
