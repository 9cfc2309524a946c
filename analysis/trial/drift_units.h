// What each flight says of the sensitivity at its time, over all bearings or some; and steps in it.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "analysis/trial/change_points.h"
#include "analysis/trial/level_record.h"
#include "roundel/pattern/gain.h"
#include "roundel/trial/drift.h"

namespace roundel::trial {

/// Sectors first, first + 1, .. of a circle, `count` of them.
struct SectorRun {
  int first{}, count{};
  bool holds(int sector, int n_sectors) const {
    const int after = sector - first;
    return (after < 0 ? after + n_sectors : after) < count;
  }
};

/// Each flight's level against the rate model, with 1 / (1 / information + spread^2) as weight.
class FlightLevels {
 public:
  /// Fits the model. The record must outlive this.
  explicit FlightLevels(const LevelRecord& record);
  bool empty() const { return rate_.gain_db.size() == 0; }
  /// Over the bearings of each run, in order of time. Runs do not overlap.
  std::vector<std::vector<Unit>> units(std::span<const SectorRun> runs) const;
  std::vector<Unit> units(SectorRun run) const { return units(std::span(&run, 1)).front(); }
  std::vector<Unit> units() const { return units({0, record_.n_sectors()}); }

 private:
  /// The counts of one flight in one run, and when they were made.
  struct Counts {
    struct Row {
      double level_db, ceiling, heard, chances;
    };
    std::vector<Row> rows;
    double time = 0, chances = 0;  ///< time: seconds times chances
  };
  void add(const pattern::LevelGroup& group, Counts& to) const;
  std::optional<Unit> unit(const Counts& counts) const;

  const LevelRecord& record_;
  pattern::LevelFit rate_;
  double messages_per_chance_ = 1, spread_db_ = 1;
};

/// As find_drift() of an exposure.
Drift find_drift(const LevelRecord& record);

struct Step {
  double value_db{}, variance{};
};
/// After less before, of what was between two times; none with fewer than 5 flights on a side.
std::optional<Step> step_at(const std::vector<Unit>& units, std::int64_t time_s,
                            std::int64_t begin_s, std::int64_t end_s);

/// Of steps around the circle (none: unknown): how they are best described by Schwarz's criterion,
/// as nothing but a run of neighbours that step each by itself (`shared` none), or as a step that
/// all share but for such a run.
struct SharedStep {
  std::optional<Step> shared;
  SectorRun others;  ///< numbers of the entries left out
};
SharedStep shared_step(const std::vector<std::optional<Step>>& around);

/// The run of neighbours within [first, first + count) that a constant step, and none beside it,
/// fits best. At least two long.
SectorRun stepping_run(const std::vector<std::optional<Step>>& by_sector, SectorRun all);

}  // namespace roundel::trial
