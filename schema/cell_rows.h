// Rows of cells in order of key. Private to schema/.
#pragma once
#include <cstdint>
#include <functional>
#include <span>
#include <string_view>

#include "roundel/result.h"
#include "schema/cell_page.h"
#include "schema/sqlite.h"

namespace roundel::schema {

/// Calls `visit` with the rows of `cell` or `recent_cell` with keys in [from, to), each once, in
/// order, as many at a time as came together. False, from it and from here: it has had enough.
Result<bool> each_row(const Database& database, std::string_view table, std::int64_t from,
                      std::int64_t to,
                      const std::function<Result<bool>(std::span<const CellRow>)>& visit);

}  // namespace roundel::schema
