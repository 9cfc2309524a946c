// Keeps a second recorder away from a database.
#pragma once
#include <filesystem>

#include "roundel/result.h"

namespace roundel::schema {

/// Held as long as the object lives; the system lets go of it when the process dies, however.
///
/// A lock (flock) on the file "DATABASE-recorder" beside the database, which holds the number of
/// the process and stays behind empty of meaning. Not on the database itself: SQLite's own locks
/// on it would be lost with it.
class RecorderLock {
 public:
  /// Errc::busy names the process that records; io.
  static Result<RecorderLock> take(const std::filesystem::path& database);
  RecorderLock(RecorderLock&& other) noexcept;
  RecorderLock& operator=(RecorderLock&&) = delete;
  ~RecorderLock();

 private:
  explicit RecorderLock(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

}  // namespace roundel::schema
