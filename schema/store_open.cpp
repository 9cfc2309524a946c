#include <fmt/format.h>

#include <cassert>

#include "schema/migrate.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

Result<void> require_file(const std::filesystem::path& file, Store::Access access) {
  std::error_code error;
  const auto status = std::filesystem::status(file, error);
  if (!std::filesystem::exists(status)) {
    if (access != Store::Access::read) return {};
    return fail(Errc::not_found, "no such database", file.string(), "check the path");
  }
  if (!std::filesystem::is_regular_file(status))
    return fail(Errc::not_a_store, "not a file", file.string(), "check the path");
  return {};
}

Result<void> configure_writer(const Database& database) {
  // Has an effect on a file that is about to be made, and lets drop_cells() give space back.
  ROUNDEL_TRY(database.execute("PRAGMA auto_vacuum = INCREMENTAL"));
  ROUNDEL_TRY(migrate(database));
  // WAL lets readers go on while the recorder writes. FULL costs one sync a commit; NORMAL could
  // lose every commit since the last checkpoint in a power cut.
  const auto has_log = database.use_write_ahead_log();
  ROUNDEL_TRY(has_log);
  if (!*has_log)
    return fail(Errc::io, "this file system does not carry a write-ahead log", database.file(),
                "keep the database on a local disk");
  ROUNDEL_TRY(database.execute(fmt::format("PRAGMA journal_size_limit = {}", most_log_bytes)));
  // A statement of many rows notes what it changes, in case it fails half-way. In a file that would
  // be four times what a load's log takes.
  ROUNDEL_TRY(database.execute("PRAGMA temp_store = MEMORY"));
  return database.execute("PRAGMA synchronous = FULL");
}

// An older recorder must not have its tables changed under it: whoever brings a file up to date is
// its recorder for the while. A new file is made in one step, and is nobody's before.
Result<std::optional<RecorderLock>> lock_for_migration(const std::filesystem::path& file,
                                                       Store::Access access, std::int64_t version) {
  const auto known = static_cast<std::int64_t>(migrations().size());
  if (access != Store::Access::write || version == 0 || version >= known)
    return std::optional<RecorderLock>();
  auto taken = RecorderLock::take(file);
  if (taken) return std::optional<RecorderLock>(std::move(*taken));
  Error error = taken.error();
  error.what = fmt::format("written by an older Roundel (schema {}, this one writes {}), and {}",
                           version, known, error.what);
  if (error.code == Errc::busy) error.remedy = "start that one again, as the version installed now";
  return tl::unexpected(std::move(error));
}

}  // namespace

void Store::wait_at_most(std::chrono::milliseconds time) { impl_->database.wait_at_most(time); }

void Store::stop_once(const std::atomic<bool>& is_over) {
  impl_->is_over = &is_over;
  impl_->database.stop_once(is_over);
}

Result<Store> Store::open(const std::filesystem::path& file, Access access) {
  ROUNDEL_TRY(require_file(file, access));
  auto database =
      Database::open(file, access == Access::read ? Database::Mode::read : Database::Mode::create);
  ROUNDEL_TRY(database);
  database->leave_log_on_close(true);
  ROUNDEL_TRY(recognise(*database));
  ROUNDEL_TRY(refuse_newer(*database));
  const auto version = database->integer("PRAGMA user_version");
  ROUNDEL_TRY(version);
  if (access == Access::read) {
    if (*version == 0)
      return fail(Errc::not_a_store, "an empty file", file.string(),
                  "record into it first, or check the path");
  }

  std::optional<RecorderLock> lock;
  if (access == Access::record) {
    auto taken = RecorderLock::take(file);
    ROUNDEL_TRY(taken);
    lock.emplace(std::move(*taken));
  }
  auto migration = lock_for_migration(file, access, *version);
  ROUNDEL_TRY(migration);
  database->leave_log_on_close(false);
  ROUNDEL_TRY(database->execute("PRAGMA foreign_keys = ON"));
  if (access == Access::read) {
    ROUNDEL_TRY(stand_in_for_newer_tables(*database, *version));
    ROUNDEL_TRY(database->execute("PRAGMA query_only = ON"));
  } else {
    ROUNDEL_TRY(configure_writer(*database));
  }
  return Store(std::make_unique<Impl>(std::move(lock), access, std::move(*database)));
}

Result<Store> Store::reopened() const {
  auto out = open(impl_->database.file(), Access::read);
  if (out && impl_->is_over) out->stop_once(*impl_->is_over);
  return out;
}

Store::Store(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Store::Store(Store&&) noexcept = default;
Store& Store::operator=(Store&&) noexcept = default;
Store::~Store() = default;

Result<void> Store::compact() {
  assert(impl_->access != Access::read);
  ROUNDEL_TRY(impl_->database.execute("PRAGMA auto_vacuum = INCREMENTAL"));
  ROUNDEL_TRY(impl_->database.execute("PRAGMA temp_store = FILE"));  // as large as the database
  ROUNDEL_TRY(impl_->database.execute("VACUUM"));
  return impl_->database.execute("PRAGMA wal_checkpoint(TRUNCATE)");
}

}  // namespace roundel::schema
