#include "schema/recorder_lock.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstring>
#include <string>
#include <utility>

namespace roundel::schema {
namespace {

// " (process 123)", or nothing while the other one has not written its number yet.
std::string holder(int descriptor) {
  char text[24];
  const ssize_t size = pread(descriptor, text, sizeof text, 0);
  long process = 0;
  if (size <= 0 || std::from_chars(text, text + size, process).ec != std::errc{}) return {};
  return fmt::format(" (process {})", process);
}

}  // namespace

Result<RecorderLock> RecorderLock::take(const std::filesystem::path& database) {
  const std::string file = database.string() + "-recorder";
  const int descriptor = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (descriptor < 0)
    return fail(Errc::io, fmt::format("cannot be opened: {}", std::strerror(errno)), file,
                "check the permissions of the folder");
  RecorderLock lock(descriptor);
  if (flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
    if (errno != EWOULDBLOCK)
      return fail(Errc::io, fmt::format("cannot be locked: {}", std::strerror(errno)), file);
    return fail(Errc::busy,
                fmt::format("another process{} is recording into it", holder(descriptor)),
                database.string(), "stop that one first, or record into another file");
  }
  const std::string process = fmt::format("{}\n", getpid());
  // The number is a courtesy to whoever meets the lock: a full disk must not stop the recorder.
  if (ftruncate(descriptor, 0) == 0)
    static_cast<void>(!pwrite(descriptor, process.data(), process.size(), 0));
  return lock;
}

RecorderLock::RecorderLock(RecorderLock&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)) {}

RecorderLock::~RecorderLock() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

}  // namespace roundel::schema
