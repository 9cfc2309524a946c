// A site as a user's data come: simulated lines, read by the layout, recorded, judged from the
// store.
#pragma once
#include <filesystem>
#include <optional>
#include <vector>

#include "roundel/pattern/verdict.h"
#include "roundel/result.h"
#include "tests/simulation/worlds.h"

namespace roundel::calibration {

/// Simulates and records a site into FOLDER/LABEL.db with its truth in FOLDER/LABEL.json, unless
/// they stand there already, of the same scenario. Returns the store's file.
Result<std::filesystem::path> record(const Site& site, const std::filesystem::path& folder);

/// What one run showed, held against the truth.
struct Outcome {
  pattern::Verdict verdict;
  std::optional<double> rms_db;  ///< raw estimate against truth, per 10 degrees, judged sectors
  int intervals{}, holding{};    ///< pointwise 95 % intervals of judged sectors
  double xx{}, xy{};             ///< of truth and estimate: their ratio is the scale
  double true_ripple_db{};
  bool ripple_holds{}, is_wrong{};
  int walled{}, walled_found{}, false_walls{};  ///< sectors
  double cutoff_error_squares{};                ///< over walled_found
  int judged{};
  std::optional<double> elevation_rms_db;  ///< gain by elevation, both with their means removed
  double scale() const { return xx > 1 ? xy / xx : 0; }
};

/// The verdict on a recorded site. @param store  as record() returns it
Result<Outcome> judge(const std::filesystem::path& store, const pattern::VerdictOptions& options);

/// Both, in a folder that goes away again.
Outcome run(const Site& site, const pattern::VerdictOptions& options = {});

}  // namespace roundel::calibration
