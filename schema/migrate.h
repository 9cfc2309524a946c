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

/// Runs the steps that are missing, each in a transaction of its own; a new file gets them all.
/// Safe when two processes do it at once.
Result<void> migrate(const Database& database);

}  // namespace roundel::schema
