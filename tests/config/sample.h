// A configuration with every section, for tests to change a line of.
#pragma once
#include <string>
#include <string_view>

namespace roundel::config {

inline constexpr std::string_view sample = R"([site]
name = "Hill house"
latitude = 52.1
longitude = 19.4
ground_m = 110
antenna_m = 12

[store]
path = "roundel.db"

[[antenna]]
name = "collinear"
[[receiver]]
name = "rx1"
[[mount]]
name = "gable"

[[feed]]
name = "roof"
connect = "127.0.0.1:27411"
layout = "lines"
antenna = "collinear"
receiver = "rx1"
mount = "gable"

[layout.lines]
kind = "columns"
address = 3
latitude = 7
longitude = 8

[web]
listen = "127.0.0.1:27410"
)";

/// The sample with one text in it put in place of another; an empty `from` appends.
inline std::string changed(std::string_view from, std::string_view to) {
  std::string out(sample);
  if (from.empty()) return out.append(to);
  const auto at = out.find(from);
  if (at == std::string::npos) return "the sample does not hold: " + std::string(from);
  return out.replace(at, from.size(), to);
}

/// The sample with another layout, called "feed", in place of its own.
inline std::string sample_with(std::string_view layout_table) {
  std::string out = changed(R"(layout = "lines")", R"(layout = "feed")");
  const auto from = out.find("[layout.lines]"), to = out.find("[web]");
  return out.replace(from, to - from, layout_table);
}

}  // namespace roundel::config
