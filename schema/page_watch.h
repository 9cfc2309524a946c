// Sees the pages that SQLite reads: a file system shim (sqlite.org/vfs.html, "shims") that passes
// every call on and notes the page read last. Private to schema/.
#pragma once
#include <cstddef>
#include <span>
#include <vector>

namespace roundel::schema {

/// Name of the shim, to open a database with; registers it at the first call. Pages are read, not
/// mapped, through it. nullptr: SQLite has no file system to stand before.
const char* page_watching_vfs();

/// Notes this thread's reads of whole pages while it lives, from the database or its log. SQLite
/// says where to read, so pages are as the connection's snapshot has them. Of nested watches the
/// inner one sees what is read.
class PageWatch {
 public:
  PageWatch();
  PageWatch(const PageWatch&) = delete;
  PageWatch& operator=(const PageWatch&) = delete;
  ~PageWatch();

  /// Forgets what was read so far.
  void clear() { size_ = 0; }
  /// The page read last since clear(); empty if none. Stays until the next read.
  std::span<const unsigned char> page() const { return {bytes_.data(), size_}; }
  /// For the shim.
  static void note(const void* data, int size);

 private:
  PageWatch* outer_;
  std::vector<unsigned char> bytes_;
  std::size_t size_ = 0;
};

}  // namespace roundel::schema
