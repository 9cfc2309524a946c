// Writes a selection's cells where other programs read them: as a stream, or as files by day.
#pragma once
#include <cstdio>
#include <filesystem>
#include <string>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::program {

/// CSV to an open stream. Errc::io when it takes no more.
Result<void> write_cells(const schema::Store& store, const schema::Selection& which,
                         std::FILE* stream);

/// FOLDER/day=2026-03-01/cells.csv.gz and FOLDER/csv-metadata.json. The folder is made; it must be
/// empty, or days of an earlier export would stand among new ones (Errc::bad_usage).
/// Returns the number of cells.
Result<std::int64_t> write_cells_by_day(const schema::Store& store, const schema::Selection& which,
                                        const std::string& about,
                                        const std::filesystem::path& folder);

}  // namespace roundel::program
