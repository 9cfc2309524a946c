// What the calibration programs are asked:
//   [--list] [--seeds FROM-TO] [--each] [--summaries] [--patterns P,..] [--days D,..] [--keep DIR]
//   [--jobs N]
//   [--traffic FILE] [WORLD or SCENARIO ...]
#pragma once
#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

namespace roundel::calibration {

struct Arguments {
  std::uint64_t from{}, to{};  ///< seeds, both ends included
  bool each = false;           ///< a line for each run
  bool list = false;           ///< only say what there is
  bool from_summaries = false;
  std::vector<std::string> patterns;  ///< none: the program's own choice
  std::vector<double> days{};         ///< none: 1, or the 7 of recorded flights
  std::filesystem::path keep;         ///< what was recorded stays there and serves again
  int jobs = 1;
  std::filesystem::path traffic;   ///< recorded flights to fly instead of drawn ones
  std::vector<std::string> names;  ///< of scenarios; none: all
};

inline std::vector<std::string> split_at_commas(const std::string& text) {
  std::vector<std::string> out;
  std::istringstream in(text);
  for (std::string word; std::getline(in, word, ',');) out.push_back(word);
  return out;
}

/// @param from, to  seeds where none are asked for
inline Arguments read_arguments(int argc, char** argv, std::uint64_t from, std::uint64_t to) {
  Arguments out;
  out.from = from, out.to = to;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--each") {
      out.each = true;
      continue;
    }
    if (word == "--summaries") {
      out.from_summaries = true;
      continue;
    }
    if (word == "--list") {
      out.list = true;
      continue;
    }
    if (!word.starts_with("--") || i + 1 == argc) {
      out.names.push_back(word);
      continue;
    }
    const std::string value = argv[++i];
    if (word == "--seeds") {
      char* end = nullptr;
      out.from = out.to = std::strtoull(value.c_str(), &end, 10);
      if (*end == '-') out.to = std::strtoull(end + 1, nullptr, 10);
    } else if (word == "--patterns") {
      out.patterns = split_at_commas(value);
    } else if (word == "--days") {
      out.days.clear();
      for (const std::string& day : split_at_commas(value)) out.days.push_back(std::stod(day));
    } else if (word == "--keep") {
      out.keep = value;
    } else if (word == "--jobs") {
      out.jobs = std::max(1, std::stoi(value));
    } else if (word == "--traffic") {
      out.traffic = std::filesystem::absolute(value);
    } else {
      out.names = {word};  // no scenario is called so: the program says what there is
      return out;
    }
  }
  return out;
}

}  // namespace roundel::calibration
