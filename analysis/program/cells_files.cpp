#include "analysis/program/cells_files.h"

#include <zlib.h>

#include <cerrno>
#include <cstring>
#include <memory>
#include <optional>
#include <system_error>

#include "analysis/program/write_file.h"
#include "roundel/present/export.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

constexpr std::size_t block_bytes = 1 << 18;

/// One compressed file; what is not closed by close() is incomplete.
class GzipFile {
 public:
  static Result<GzipFile> create(const std::filesystem::path& file) {
    errno = 0;
    gzFile handle = gzopen(file.c_str(), "wb6");
    if (!handle)
      return fail(Errc::io, std::string("cannot be written: ") + std::strerror(errno),
                  file.string(), "choose another place");
    return GzipFile(file, handle);
  }
  Result<void> write(const std::string& bytes) {
    if (bytes.empty()) return {};
    if (gzwrite(handle_.get(), bytes.data(), static_cast<unsigned>(bytes.size())) <= 0)
      return refused();
    return {};
  }
  Result<void> close() {
    if (gzclose_w(handle_.release()) != Z_OK) return refused();
    return {};
  }

 private:
  struct Close {
    void operator()(gzFile_s* handle) const { gzclose_w(handle); }
  };
  GzipFile(std::filesystem::path file, gzFile handle) : file_(std::move(file)), handle_(handle) {}
  tl::unexpected<Error> refused() const {
    return fail(Errc::io, std::string("cannot be written: ") + std::strerror(errno), file_.string(),
                "is the disk full?");
  }
  std::filesystem::path file_;
  std::unique_ptr<gzFile_s, Close> handle_;
};

Result<void> make_empty_folder(const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error)
    return fail(Errc::io, "cannot be made: " + error.message(), folder.string(),
                "choose another place");
  const bool is_empty = std::filesystem::is_empty(folder, error);
  if (error || !is_empty)
    return fail(Errc::bad_usage, "the folder is not empty", folder.string(),
                "name a new one, so that no older day stands among the new ones");
  return {};
}

}  // namespace

Result<void> write_cells(const schema::Store& store, const schema::Selection& which,
                         std::FILE* stream) {
  const auto lines = present::CellsCsv::make(store, which);
  if (!lines) return tl::unexpected(lines.error());
  std::string block = present::CellsCsv::heading();
  bool good = true;
  const auto flush = [&] {
    good = good && std::fwrite(block.data(), 1, block.size(), stream) == block.size();
    block.clear();
    return good;
  };
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    lines->append(cell, block);
    return block.size() < block_bytes || flush();
  });
  if (!read) return tl::unexpected(read.error());
  if (!flush() || std::fflush(stream) != 0)
    return fail(Errc::io, std::string("cannot be written: ") + std::strerror(errno),
                "standard output", "is what reads it still there?");
  return {};
}

Result<std::int64_t> write_cells_by_day(const schema::Store& store, const schema::Selection& which,
                                        const std::string& about,
                                        const std::filesystem::path& folder) {
  const auto lines = present::CellsCsv::make(store, which);
  if (!lines) return tl::unexpected(lines.error());
  if (auto made = make_empty_folder(folder); !made) return tl::unexpected(made.error());
  std::optional<GzipFile> file;
  std::string day, block;
  std::int64_t n_cells = 0;
  Result<void> result;
  const auto finish = [&]() -> Result<void> {
    if (!file) return {};
    if (auto written = file->write(block); !written) return written;
    block.clear();
    auto closed = file->close();
    file.reset();
    return closed;
  };
  const auto begin = [&](const std::string& next) -> Result<void> {
    if (auto finished = finish(); !finished) return finished;
    day = next;
    const auto part = folder / ("day=" + day);
    std::error_code error;
    std::filesystem::create_directory(part, error);
    if (error) return fail(Errc::io, "cannot be made: " + error.message(), part.string());
    auto created = GzipFile::create(part / "cells.csv.gz");
    if (!created) return tl::unexpected(created.error());
    file = std::move(*created);
    block = present::CellsCsv::heading();
    return {};
  };
  const auto read = store.each_cell(which, [&](const schema::Cell& cell) {
    const std::string of =
        format_time(static_cast<double>(cell.window * schema::window_s)).substr(0, 10);
    if (of != day) result = begin(of);
    if (result) {
      lines->append(cell, block);
      ++n_cells;
      if (block.size() >= block_bytes) {
        result = file->write(block);
        block.clear();
      }
    }
    return result.has_value();
  });
  if (!read) return tl::unexpected(read.error());
  if (result) result = finish();
  if (!result) return tl::unexpected(result.error());
  // Last, so that a folder with it is complete.
  const auto described =
      write_file((folder / "csv-metadata.json").string(), present::cells_schema(about));
  if (!described) return tl::unexpected(described.error());
  return n_cells;
}

}  // namespace roundel::program
