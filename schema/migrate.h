// Brings a database to the schema this program was built with, step by step.
#pragma once
#include <span>

#include "roundel/result.h"
#include "schema/sqlite.h"

namespace roundel::schema {

/// One numbered file of schema/migrations, embedded at build time.
struct Migration {
  int number;        ///< from 1, without a gap; stored as user_version
  const char* name;  ///< of the file
  const char* sql;
};
std::span<const Migration> migrations();

/// Says that a database is ours (offset 68 of an SQLite file). "Rndl" in ASCII.
inline constexpr std::int32_t application_id = 0x526e646c;

/// Decides from the first bytes of a file, before anything is locked or written, whether it is ours
/// to open. Errc: not_a_store.
Result<void> recognise(const Database& database);

/// Errc::newer_schema when a newer version of the program has written it.
Result<void> refuse_newer(const Database& database);

/// Runs the steps that are missing, in one transaction; a new file gets them all. Safe when two
/// processes do it at once.
Result<void> migrate(const Database& database);

/// Lets a reader of an older file see what later steps have added, as tables of its connection
/// alone: the file stays as it is. They tell of the moment of this call.
/// @param version  of the file, 1 or later
Result<void> stand_in_for_newer_tables(const Database& database, std::int64_t version);

}  // namespace roundel::schema
