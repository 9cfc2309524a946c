// The calibration suite's scenarios, and one run of each: simulate, judge, hold against the truth.
#pragma once
#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/pattern/verdict.h"
#include "roundel/simulate/scenario.h"

namespace roundel::calibration {

struct Case {
  std::string name;
  std::string what;  ///< in words, for the table
  std::function<simulate::Scenario(std::uint64_t seed)> make;
  double tolerance_db = 3;
};

/// All of them, in the order of the table.
const std::vector<Case>& cases();
const Case& find(std::string_view name);
/// The same questions with a recorded week of flights around an ocean airport at 37.6 N 122.4 W,
/// whose west is nearly empty. @param traffic  as Traffic::file
std::vector<Case> rehearsals(const std::filesystem::path& traffic);

/// What one run showed.
struct Outcome {
  pattern::Verdict verdict;
  double rms_db{};             ///< raw estimate against truth, per 10 degrees, judged sectors
  int intervals{}, holding{};  ///< pointwise 95 % intervals of judged sectors
  double scale{};              ///< slope of estimate on truth, 0 for a flat antenna
  double true_ripple_db{};
  bool ripple_holds{};
  int walled{}, walled_found{}, false_walls{};  ///< sectors
  double cutoff_error_squares{};                ///< over walled_found
  int judged{};
};

/// Seeds vary everything a site varies (margin, softness, loss, power spread, traffic), unless the
/// case fixes it. Deterministic.
Outcome run(const Case& one, std::uint64_t seed);

}  // namespace roundel::calibration
