// Retention: what has been summarised may go, the oldest first, an hour at a time.
#include <fmt/format.h>

#include <cassert>

#include "schema/store_impl.h"
#include "schema/summary_keeper.h"

namespace roundel::schema {
namespace {

// Of a cell on disk: size_test.cpp.
constexpr std::int64_t bytes_per_cell = 31;
// Freed pages are soon filled anew: giving them back costs writing others. Only what is a good part
// of the file is given back, a megabyte at a time.
constexpr std::int64_t free_share = 8, fewest_free_pages = 1024;
constexpr int pages_at_once = 256;

/// The oldest hour that has cells, if all of it may go.
Result<std::optional<std::int64_t>> oldest_hour(const Database& database) {
  auto reader = HourReader::make(database);
  ROUNDEL_TRY(reader);
  const auto hour = reader->next_hour(0);
  ROUNDEL_TRY(hour);
  const auto before_hour = summarised_before_hour(database);
  ROUNDEL_TRY(before_hour);
  if (!*hour || **hour >= *before_hour) return std::optional<std::int64_t>();
  auto stale =
      database.prepare("SELECT count(*) FROM summary WHERE id >= ? AND id < ? AND is_stale = 1");
  ROUNDEL_TRY(stale);
  stale->bind_all(summary_key(**hour, 0), summary_key(**hour + 1, 0));
  ROUNDEL_TRY(stale->next());
  return stale->integer(0) > 0 ? std::optional<std::int64_t>() : *hour;
}

Result<bool> is_too_much(const Database& database, const Retention& keep) {
  auto query = database.prepare(
      "SELECT count(DISTINCT id >> 24), sum(cells) FROM summary WHERE cells_gone = 0");
  ROUNDEL_TRY(query);
  ROUNDEL_TRY(query->next());
  return (keep.hours && query->integer(0) > *keep.hours) ||
         (keep.bytes && query->integer(1) * bytes_per_cell > *keep.bytes);
}

Result<void> drop_hour(const Database& database, std::int64_t hour) {
  auto drop = database.prepare("DELETE FROM cell WHERE id >= ? AND id < ?");
  ROUNDEL_TRY(drop);
  ROUNDEL_TRY(drop->run(first_cell_key(hour), first_cell_key(hour + 1)));
  auto mark = database.prepare("UPDATE summary SET cells_gone = 1 WHERE id >= ? AND id < ?");
  ROUNDEL_TRY(mark);
  return mark->run(summary_key(hour, 0), summary_key(hour + 1, 0));
}

Result<bool> give_back(const Database& database) {
  const auto n_free = database.integer("PRAGMA freelist_count");
  ROUNDEL_TRY(n_free);
  const auto n_pages = database.integer("PRAGMA page_count");
  ROUNDEL_TRY(n_pages);
  if (*n_free < fewest_free_pages || *n_free * free_share < *n_pages) return false;
  ROUNDEL_TRY(database.execute(fmt::format("PRAGMA incremental_vacuum({})", pages_at_once)));
  const auto n_now = database.integer("PRAGMA page_count");
  ROUNDEL_TRY(n_now);
  return *n_now < *n_pages;  // files of before this was an option stay as large as they are
}

}  // namespace

Result<bool> Store::drop_cells(const Retention& keep) {
  assert(impl_->access == Access::record);
  const Database& database = impl_->database;
  auto transaction = Transaction::begin(database, Transaction::Kind::write);
  ROUNDEL_TRY(transaction);
  const auto too_much = is_too_much(database, keep);
  ROUNDEL_TRY(too_much);
  std::optional<std::int64_t> hour;
  if (*too_much) {
    const auto oldest = oldest_hour(database);
    ROUNDEL_TRY(oldest);
    hour = *oldest;
  }
  if (hour) {
    ROUNDEL_TRY(drop_hour(database, *hour));
    ROUNDEL_TRY(transaction->commit());
    return true;
  }
  ROUNDEL_TRY(transaction->commit());
  return give_back(database);
}

}  // namespace roundel::schema
