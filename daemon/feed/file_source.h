// A recording in a file, plain or gzip, as a stream of bytes.
#pragma once
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "roundel/result.h"

namespace roundel::feed {

/// Reads a file from its start to its end. Gzip (RFC 1952, several members too) is recognised by
/// its first bytes.
class FileSource {
 public:
  /// "-" is standard input. Errc: not_found, io.
  static Result<FileSource> open(const std::filesystem::path& file);

  /// Writes the next bytes into the place given, and says how many: as many as fit, fewer where the
  /// file ends, none at the end. Errc: io, corrupt (gzip).
  Result<std::size_t> read(std::span<char> into);

  /// Bytes of the file itself read so far, and in all (none for a stream).
  std::int64_t position() const;
  std::optional<std::int64_t> size() const { return size_; }
  const std::string& name() const { return name_; }

 private:
  struct Close {
    void operator()(void* file) const;
  };
  FileSource() = default;
  std::unique_ptr<void, Close> file_;  // gzFile, kept out of the header
  std::string name_;
  std::optional<std::int64_t> size_;
  std::int64_t n_read_ = 0;
};

}  // namespace roundel::feed
