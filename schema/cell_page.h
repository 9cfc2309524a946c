// Rows of cells straight from a page of the database. Private to schema/.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::schema {

/// A row of `cell` or `recent_cell` as stored.
struct CellRow {
  std::int64_t id{}, heard{}, expected{}, latitude_e4{}, longitude_e4{}, altitude_25ft{};
  std::optional<std::int64_t> signal_half_db;
  std::int64_t uncertainty_hm{};

  Cell cell() const;
  friend bool operator==(const CellRow&, const CellRow&) = default;
};

/// Appends the rows of a leaf page with keys in [from, to), in order. False, and nothing appended:
/// the page is something else, or holds a row that is not laid out as expected (a later schema's, a
/// damaged one's). Every offset in the page is checked before it is followed.
///
/// sqlite.org/fileformat2.html, 1.6 "B-tree Pages" and 2.1 "Record Format"; generated columns that
/// are VIRTUAL take no place in the record, and the key's place holds a NULL.
/// @param page  whole, as SQLite reads it
bool read_cell_page(std::span<const unsigned char> page, std::int64_t from, std::int64_t to,
                    std::vector<CellRow>& into);

}  // namespace roundel::schema
