// How much was heard where: the share of chances by bearing and range, with nothing concluded.
#pragma once
#include <cstdint>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::pattern {

inline constexpr double field_step_km = 20;
inline constexpr double field_end_km = 600;  ///< farther cells are left out

/// All cells whose place falls in one sector and one step of range.
struct FieldBin {
  double bearing_deg{};  ///< of the middle, from true north
  double range_km{};     ///< of the middle
  std::int64_t heard{};
  std::int64_t expected{};  ///< chances, > 0
};

/// Bins in which an aircraft was; by bearing, then by range.
struct Field {
  double sector_deg{};
  std::vector<FieldBin> bins;
};

/// Sums the selected cells. Cells whose position is uncertain by more than half a step are left
/// out: they would blur the field. Errc: bad_usage (sector_deg), not_found (no site; a name in the
/// selection), and those of the store. No cells is no error.
Result<Field> heard_field(const schema::Store& store, const schema::Selection& which,
                          double sector_deg);

}  // namespace roundel::pattern
