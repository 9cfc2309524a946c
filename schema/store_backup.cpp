#include "schema/sqlite.h"
#include "schema/store_impl.h"

namespace roundel::schema {
namespace {

Result<void> copy_and_read_through(const Database& source, const std::filesystem::path& file,
                                   const std::function<void(double)>& progress) {
  auto target = Database::open(file, Database::Mode::create);
  if (!target) return tl::unexpected(target.error());
  if (auto ok = source.copy_to(*target, progress); !ok) return ok;
  auto check = target->prepare("PRAGMA quick_check(1)");
  if (!check) return tl::unexpected(check.error());
  const auto row = check->next();
  if (!row) return tl::unexpected(row.error());
  if (*row && check->text(0) == "ok") return {};
  return fail(Errc::corrupt, "the copy is damaged: " + check->text(0), file.string(),
              "check both disks, and the database with PRAGMA integrity_check");
}

}  // namespace

Result<void> Store::backup(const std::filesystem::path& file,
                           const std::function<void(double)>& progress) const {
  std::error_code error;
  if (std::filesystem::exists(file, error) || error)
    return fail(Errc::io, error ? error.message() : "exists already", file.string(),
                "choose another name, or move it away");
  auto part = file;
  part += ".part";
  std::filesystem::remove(part, error);
  auto copied = copy_and_read_through(impl_->database, part, progress);
  if (copied) {
    std::filesystem::rename(part, file, error);
    if (error) copied = fail(Errc::io, error.message(), file.string(), "");
  }
  if (!copied)
    for (const char* kind : {"", "-journal", "-wal", "-shm"})
      std::filesystem::remove(part.string() + kind, error);
  return copied;
}

}  // namespace roundel::schema
