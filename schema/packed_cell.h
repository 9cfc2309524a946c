// Cells as their table holds them, in memory.
#pragma once
#include <cstdint>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"

namespace roundel::schema {

/// A row of the table of cells: a third of a Cell's size.
struct PackedCell {
  std::int64_t key;
  std::int32_t latitude_e4, longitude_e4;
  std::int16_t altitude_25ft, signal_half_db;  ///< no_signal: none
  std::uint16_t uncertainty_hm;
  std::uint8_t heard, expected;
};
inline constexpr std::int16_t no_signal = INT16_MIN;

inline bool by_key(const PackedCell& a, const PackedCell& b) { return a.key < b.key; }
/// Of cells with one key the last stays. @pre they stand by key
void keep_latest(std::vector<PackedCell>& rows);
/// By key, of those with one key the last.
void order(std::vector<PackedCell>& rows);

/// In order. @param refused  out: those with a value that the table does not accept
std::vector<PackedCell> packed(const std::vector<Cell>& cells, std::vector<Cell>& refused);
/// As cell_in() reads it from the table.
Cell cell_of(const PackedCell& row);

}  // namespace roundel::schema
