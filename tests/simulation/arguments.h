// What the calibration programs are asked: [--seeds FROM-TO] [--each] [--traffic FILE] [SCENARIO
// ...]
#pragma once
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

namespace roundel::calibration {

struct Arguments {
  std::uint64_t from{}, to{};      ///< seeds, both ends included
  bool each = false;               ///< a line for each run
  std::string traffic;             ///< recorded flights to fly instead of drawn ones
  std::vector<std::string> names;  ///< of scenarios; none: all
};

/// @param from, to  seeds where none are asked for
inline Arguments read_arguments(int argc, char** argv, std::uint64_t from, std::uint64_t to) {
  Arguments out{from, to, false, {}, {}};
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--seeds" && i + 1 < argc) {
      char* end = nullptr;
      out.from = out.to = std::strtoull(argv[++i], &end, 10);
      if (*end == '-') out.to = std::strtoull(end + 1, nullptr, 10);
    } else if (word == "--each") {
      out.each = true;
    } else if (word == "--traffic" && i + 1 < argc) {
      out.traffic = argv[++i];
    } else {
      out.names.push_back(word);
    }
  }
  return out;
}

}  // namespace roundel::calibration
