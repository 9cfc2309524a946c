#include "schema/packed_cell.h"

#include <algorithm>
#include <cmath>

#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

// What the table accepts: told before a cell waits in memory, not when it is written at last.
bool is_acceptable(const Cell& cell) {
  static_assert(flight_bits == 24, "last_window says so");
  return cell.flight >= 1 && cell.flight <= max_flight_id && cell.window >= 0 &&
         cell.window <= last_window && cell.heard >= 0 && cell.heard <= 255 && cell.expected >= 1 &&
         cell.expected <= 255 && std::abs(cell.latitude_deg) <= 90 &&
         std::abs(cell.longitude_deg) <= 180 && std::abs(cell.altitude_ft) <= most_altitude_ft &&
         std::abs(cell.signal_dbfs.value_or(0)) <= most_signal_dbfs && cell.uncertainty_km >= 0 &&
         cell.uncertainty_km <= most_uncertainty_km;
}

/// @pre is_acceptable(cell)
PackedCell row_of(const Cell& cell) {
  const auto small = [](double value) { return static_cast<std::int16_t>(std::lround(value)); };
  return {cell_key(cell.window, cell.flight),
          static_cast<std::int32_t>(std::lround(cell.latitude_deg * 1e4)),
          static_cast<std::int32_t>(std::lround(cell.longitude_deg * 1e4)),
          small(cell.altitude_ft / 25),
          cell.signal_dbfs ? small(*cell.signal_dbfs * 2) : no_signal,
          static_cast<std::uint16_t>(std::lround(cell.uncertainty_km * 10)),
          static_cast<std::uint8_t>(cell.heard),
          static_cast<std::uint8_t>(cell.expected)};
}

}  // namespace

void keep_latest(std::vector<PackedCell>& rows) {
  std::size_t n = 0;
  for (const PackedCell& row : rows) {
    if (n > 0 && rows[n - 1].key == row.key) --n;
    rows[n++] = row;
  }
  rows.resize(n);
}

void order(std::vector<PackedCell>& rows) {
  std::stable_sort(rows.begin(), rows.end(), by_key);
  keep_latest(rows);
}

std::vector<PackedCell> packed(const std::vector<Cell>& cells, std::vector<Cell>& refused) {
  std::vector<PackedCell> rows;
  rows.reserve(cells.size());
  for (const Cell& cell : cells) {
    if (is_acceptable(cell))
      rows.push_back(row_of(cell));
    else
      refused.push_back(cell);
  }
  order(rows);
  return rows;
}

Cell cell_of(const PackedCell& row) {
  Cell cell;
  cell.window = window_of_key(row.key);
  cell.flight = flight_of_key(row.key);
  cell.heard = row.heard;
  cell.expected = row.expected;
  cell.latitude_deg = row.latitude_e4 / 1e4;
  cell.longitude_deg = row.longitude_e4 / 1e4;
  cell.altitude_ft = row.altitude_25ft * 25.0;
  if (row.signal_half_db != no_signal) cell.signal_dbfs = row.signal_half_db / 2.0;
  cell.uncertainty_km = row.uncertainty_hm / 10.0;
  return cell;
}

}  // namespace roundel::schema
