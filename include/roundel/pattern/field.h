// How much was heard where: the share of chances by bearing and range, with nothing concluded.
#pragma once
#include <cstdint>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::pattern {

inline constexpr double field_step_km = 20;
inline constexpr double field_end_km = 600;  ///< farther cells are left out
inline constexpr int field_steps = 30;       ///< to there

/// All cells whose place falls in one sector and one step of range.
struct FieldBin {
  double bearing_deg{};  ///< of the middle, from true north
  double range_km{};     ///< of the middle
  std::int64_t heard{};
  std::int64_t expected{};  ///< chances, > 0
};

/// Whether a cell at such a range counts: one that is uncertain by more than half a step would blur
/// the field.
inline bool is_in_field(const schema::Cell& cell, double range_km) {
  return cell.uncertainty_km <= field_step_km / 2 && range_km < field_end_km;
}

/// Bins in which an aircraft was; by bearing, then by range.
struct Field {
  double sector_deg{};
  std::vector<FieldBin> bins;
};

/// Sums the selected cells. Errc: bad_usage (sector_deg), not_found (no site; a name in the
/// selection), and those of the store. No cells is no error.
/// @param from_summaries  whole hours from what is summarised of them, also of those whose cells
/// are
///   gone: the same sums, of a year in a tenth of a second. For sectors that are whole multiples
///   of a summary's.
Result<Field> heard_field(const schema::Store& store, const schema::Selection& which,
                          double sector_deg, bool from_summaries = false);

}  // namespace roundel::pattern
