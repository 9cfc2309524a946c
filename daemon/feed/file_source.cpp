#include "daemon/feed/file_source.h"

#include <fmt/format.h>
#include <unistd.h>
#include <zlib.h>

#include <cerrno>
#include <cstring>
#include <string_view>

namespace roundel::feed {
namespace {

// Whoever wants twice as much at once gets a plain file straight to where it is wanted.
constexpr unsigned buffer_bytes = 64 * 1024;

gzFile handle(void* file) { return static_cast<gzFile>(file); }

}  // namespace

void FileSource::Close::operator()(void* file) const { gzclose(handle(file)); }

Result<FileSource> FileSource::open(const std::filesystem::path& file) {
  FileSource out;
  out.name_ = file == "-" ? "standard input" : file.string();
  gzFile opened = nullptr;
  errno = 0;
  if (file == "-") {
    const int descriptor = dup(STDIN_FILENO);
    if (descriptor >= 0) opened = gzdopen(descriptor, "rb");
  } else {
    std::error_code error;
    const auto status = std::filesystem::status(file, error);
    if (!std::filesystem::exists(status))
      return fail(Errc::not_found, "there is no such file", out.name_, "check the path");
    if (std::filesystem::is_directory(status))
      return fail(Errc::io, "is a folder", out.name_, "name the files in it");
    if (std::filesystem::is_regular_file(status))
      out.size_ = static_cast<std::int64_t>(std::filesystem::file_size(file, error));
    opened = gzopen(file.c_str(), "rb");
  }
  if (!opened)
    return fail(Errc::io, fmt::format("cannot be opened: {}", std::strerror(errno)), out.name_,
                "check its permissions");
  out.file_.reset(opened);
  gzbuffer(opened, buffer_bytes);
  return out;
}

Result<std::size_t> FileSource::read(std::span<char> into) {
  const gzFile file = handle(file_.get());
  errno = 0;
  const int n = gzread(file, into.data(), static_cast<unsigned>(into.size()));
  int code = Z_OK;
  const char* message = gzerror(file, &code);
  if (n > 0) {
    n_read_ += n;
    return static_cast<std::size_t>(n);
  }
  // An end in the middle of gzip data is no error to gzread, only noted.
  if (n == 0 && code != Z_BUF_ERROR) return 0;
  if (code == Z_ERRNO)
    return fail(Errc::io, fmt::format("cannot be read: {}", std::strerror(errno)), name_);
  const std::string_view detail = message;
  return fail(Errc::corrupt,
              code == Z_BUF_ERROR
                  ? fmt::format("the gzip data are cut off after {} bytes of text", n_read_)
                  : fmt::format("the gzip data are damaged after {} bytes of text ({})", n_read_,
                                detail.substr(
                                    detail.rfind(':') == detail.npos ? 0 : detail.rfind(':') + 2)),
              name_, "what came before has been read");
}

std::int64_t FileSource::position() const { return gzoffset(handle(file_.get())); }

}  // namespace roundel::feed
