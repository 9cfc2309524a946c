#include "schema/page_watch.h"

#include <sqlite3.h>

#include <bit>
#include <cstddef>
#include <cstring>

namespace roundel::schema {
namespace {

constexpr std::size_t smallest_page = 512, largest_page = 65536;
thread_local PageWatch* watch = nullptr;

// Ours, then the file of the file system behind. SQLite's memory is aligned by 8 bytes, no more.
struct alignas(8) WatchedFile {
  sqlite3_file base;
  sqlite3_file* behind() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};

sqlite3_file* behind(sqlite3_file* file) { return reinterpret_cast<WatchedFile*>(file)->behind(); }
sqlite3_vfs* behind(sqlite3_vfs* vfs) { return static_cast<sqlite3_vfs*>(vfs->pAppData); }

// Passes a method of a file on, whatever its arguments.
template <auto method>
struct Pass;
template <class... Arguments, int (*sqlite3_io_methods::*method)(sqlite3_file*, Arguments...)>
struct Pass<method> {
  static int call(sqlite3_file* file, Arguments... arguments) {
    return (behind(file)->pMethods->*method)(behind(file), arguments...);
  }
};

int watched_read(sqlite3_file* file, void* data, int bytes, sqlite3_int64 offset) {
  const int code = behind(file)->pMethods->xRead(behind(file), data, bytes, offset);
  if (code == SQLITE_OK) PageWatch::note(data, bytes);
  return code;
}

int watched_close(sqlite3_file* file) {
  const int code = behind(file)->pMethods->xClose(behind(file));
  file->pMethods = nullptr;
  return code;
}

void watched_barrier(sqlite3_file* file) { behind(file)->pMethods->xShmBarrier(behind(file)); }

using Io = sqlite3_io_methods;
// Version 2 has no mapped pages.
const Io watched_methods{2,
                         watched_close,
                         watched_read,
                         Pass<&Io::xWrite>::call,
                         Pass<&Io::xTruncate>::call,
                         Pass<&Io::xSync>::call,
                         Pass<&Io::xFileSize>::call,
                         Pass<&Io::xLock>::call,
                         Pass<&Io::xUnlock>::call,
                         Pass<&Io::xCheckReservedLock>::call,
                         Pass<&Io::xFileControl>::call,
                         Pass<&Io::xSectorSize>::call,
                         Pass<&Io::xDeviceCharacteristics>::call,
                         Pass<&Io::xShmMap>::call,
                         Pass<&Io::xShmLock>::call,
                         watched_barrier,
                         Pass<&Io::xShmUnmap>::call,
                         nullptr,
                         nullptr};

int watched_open(sqlite3_vfs* vfs, const char* name, sqlite3_file* file, int flags,
                 int* flags_out) {
  file->pMethods = nullptr;
  const int code = behind(vfs)->xOpen(behind(vfs), name, behind(file), flags, flags_out);
  // Temporary files may come without shared memory; they are nobody's pages.
  if (behind(file)->pMethods != nullptr) file->pMethods = &watched_methods;
  return code;
}

sqlite3_vfs* registered() {
  sqlite3_vfs* const usual = sqlite3_vfs_find(nullptr);
  if (usual == nullptr) return nullptr;
  static sqlite3_vfs vfs = *usual;
  vfs.pNext = nullptr;
  vfs.zName = "roundel";
  vfs.szOsFile = static_cast<int>(sizeof(WatchedFile)) + usual->szOsFile;
  vfs.pAppData = usual;
  vfs.xOpen = watched_open;
  vfs.xDelete = [](sqlite3_vfs* of, const char* name, int sync) {
    return behind(of)->xDelete(behind(of), name, sync);
  };
  vfs.xAccess = [](sqlite3_vfs* of, const char* name, int flags, int* out) {
    return behind(of)->xAccess(behind(of), name, flags, out);
  };
  vfs.xFullPathname = [](sqlite3_vfs* of, const char* name, int size, char* out) {
    return behind(of)->xFullPathname(behind(of), name, size, out);
  };
  return sqlite3_vfs_register(&vfs, 0) == SQLITE_OK ? &vfs : nullptr;
}

}  // namespace

const char* page_watching_vfs() {
  static sqlite3_vfs* const vfs = registered();
  return vfs == nullptr ? nullptr : vfs->zName;
}

PageWatch::PageWatch() : outer_(watch), bytes_(largest_page) { watch = this; }
PageWatch::~PageWatch() { watch = outer_; }

void PageWatch::note(const void* data, int size) {
  // Pages are powers of two from 512 on; what else is read are headers.
  const auto bytes = static_cast<std::size_t>(size);
  if (watch == nullptr || bytes < smallest_page || bytes > largest_page ||
      !std::has_single_bit(bytes))
    return;
  std::memcpy(watch->bytes_.data(), data, bytes);
  watch->size_ = bytes;
}

}  // namespace roundel::schema
