#include "schema/migrate.h"

#include <fmt/format.h>

namespace roundel::schema {
namespace {

// An SQLite file starts with these 16 bytes and holds a big-endian application id at offset 68
// (https://www.sqlite.org/fileformat2.html, section 1.3).
constexpr std::string_view magic{"SQLite format 3\0", 16};
constexpr std::size_t header_bytes = 100;
constexpr std::size_t application_id_at = 68;

std::int32_t big_endian(std::string_view bytes) {
  std::uint32_t value = 0;
  for (const char byte : bytes.substr(0, 4)) value = value << 8 | static_cast<unsigned char>(byte);
  return static_cast<std::int32_t>(value);
}

// A file between configure_writer's first pragma and the first step: one page (offset 28), no table
// (the largest root page, 52, is the first), made for incremental vacuum (64), nobody's yet.
bool is_just_made(std::string_view header) {
  const auto at = [&](std::size_t offset) { return big_endian(header.substr(offset)); };
  return at(28) == 1 && at(52) == 1 && at(64) == 1 && at(60) == 0 && at(application_id_at) == 0;
}

}  // namespace

Result<void> recognise(const Database& database) {
  const auto header = database.header();
  if (!header) return tl::unexpected(header.error());
  const auto refuse = [&](std::string what) {
    return fail(Errc::not_a_store, std::move(what), database.file(),
                "give the path of a database that roundeld has made");
  };
  // SQLite takes a file of one byte for an empty one, and would overwrite it.
  std::error_code unknown;
  if (header->empty() && std::filesystem::file_size(database.file(), unknown) == 0) return {};
  if (header->size() < header_bytes || header->substr(0, magic.size()) != magic)
    return refuse("not a Roundel database");
  if (big_endian(header->substr(application_id_at)) != application_id && !is_just_made(*header))
    return refuse("an SQLite database, but not a Roundel one");
  return {};
}

Result<void> refuse_newer(const Database& database) {
  const auto version = database.integer("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  const auto known = static_cast<std::int64_t>(migrations().size());
  if (*version <= known) return {};
  return fail(
      Errc::newer_schema,
      fmt::format("written by a newer Roundel (schema {}, this one knows {})", *version, known),
      database.file(), "install the newer version");
}

Result<void> migrate(const Database& database) {
  const auto known = static_cast<std::int64_t>(migrations().size());
  const auto before = database.integer("PRAGMA user_version");
  if (!before) return tl::unexpected(before.error());
  if (*before >= known) return {};

  auto transaction = Transaction::begin(database, Transaction::Kind::exclusive);
  if (!transaction) return tl::unexpected(transaction.error());
  // Another process may have been faster.
  const auto version = database.integer("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  for (const Migration& step : migrations()) {
    if (*version >= step.number) continue;
    auto done = database.execute(step.sql);
    if (done && step.number == 1)
      done = database.execute(fmt::format("PRAGMA application_id = {}", application_id));
    if (done) done = database.execute(fmt::format("PRAGMA user_version = {}", step.number));
    if (!done) {
      Error error = done.error();
      error.what += fmt::format(" (while bringing it to {})", step.name);
      return tl::unexpected(std::move(error));
    }
  }
  return transaction->commit();
}

Result<void> stand_in_for_newer_tables(const Database& database, std::int64_t version) {
  if (version >= static_cast<std::int64_t>(migrations().size())) return {};
  // A temporary table is found before one of the file. These are what the steps would have made.
  std::string sql =
      "PRAGMA temp_store = MEMORY; BEGIN;"
      "CREATE TEMP TABLE summary (id INTEGER PRIMARY KEY, cells, silent_cells, heard, expected,"
      " is_stale, cells_gone, detail);"
      "CREATE INDEX temp.summary_size ON summary"
      " (cells_gone, id, is_stale, cells, silent_cells, heard, expected);"
      "CREATE TEMP TABLE summary_flights (id INTEGER PRIMARY KEY, detail);"
      "CREATE TEMP TABLE summarised (id INTEGER PRIMARY KEY, before_hour, method);";
  if (version == 1)
    sql += "INSERT INTO temp.summarised VALUES (1, 0, 0);";
  else
    sql +=
        "INSERT INTO temp.summarised SELECT id, before_hour, method FROM main.summarised;"
        // Stale, as the third step says. The details of stale summaries are not read.
        "INSERT INTO temp.summary SELECT id, cells, silent_cells, heard, expected,"
        " is_stale OR NOT cells_gone, cells_gone, iif(cells_gone, detail, x'') FROM main.summary;";
  return database.execute(sql + "COMMIT");
}

}  // namespace roundel::schema
