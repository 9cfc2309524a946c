// The database under a name, which may become another file's.
#pragma once
#include <atomic>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <utility>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// A connection for reading. A database moved away or restored from a backup is another file under
/// the same name, and is opened anew. One thread.
class CurrentStore {
 public:
  /// @param is_over  outlives it; once true, reading fails (Store::stop_once)
  explicit CurrentStore(std::filesystem::path file, const std::atomic<bool>* is_over = nullptr)
      : file_(std::move(file)), is_over_(is_over) {}

  /// To be called before each use. Errc as Store::open.
  Result<const schema::Store*> open();
  /// Another one to change it with. Makes no database where none is.
  Result<schema::Store> open_to_change() const;
  /// The next open() opens anew: this connection has failed.
  void close() { store_.reset(); }
  /// One higher whenever open() has opened.
  std::int64_t n_opened() const { return n_opened_; }

 private:
  std::filesystem::path file_;
  const std::atomic<bool>* is_over_;
  std::optional<schema::Store> store_;
  std::pair<std::uint64_t, std::uint64_t> identity_{};  // of the open file
  std::int64_t n_opened_ = 0;
};

}  // namespace roundel::serve
