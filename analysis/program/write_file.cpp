#include "analysis/program/write_file.h"

#include <fmt/format.h>

#include <cerrno>
#include <cstdio>
#include <system_error>

namespace roundel::program {

Result<void> write_file(const std::string& file, std::string_view bytes) {
  const auto refused = [&] {
    return fail(Errc::io,
                fmt::format("cannot be written: {}", std::generic_category().message(errno)), file,
                "choose another place");
  };
  std::FILE* const out = std::fopen(file.c_str(), "wb");
  if (!out) return refused();
  const bool written = std::fwrite(bytes.data(), 1, bytes.size(), out) == bytes.size();
  // A full disk may show only when the last buffer is written out.
  if (std::fclose(out) != 0 || !written) return refused();
  return {};
}

}  // namespace roundel::program
