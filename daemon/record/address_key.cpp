#include "daemon/record/address_key.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/random.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstring>
#include <fstream>
#include <iterator>
#include <string>

namespace roundel::record {
namespace {

Result<SipKey> parse(const std::string& text, const std::filesystem::path& file) {
  SipKey key{};
  const bool is_whole = text.size() >= 32 && text.find_first_not_of("\r\n", 32) == text.npos;
  for (std::size_t i = 0; is_whole && i < key.size(); ++i) {
    const char* at = text.data() + 2 * i;
    const auto [end, error] = std::from_chars(at, at + 2, key[i], 16);
    if (error != std::errc{} || end != at + 2) break;
    if (i + 1 == key.size()) return key;
  }
  return fail(Errc::malformed, "is not a key of 32 hex digits", file.string(),
              "restore it; without it addresses recorded so far match none that come");
}

Result<void> make(const std::filesystem::path& file) {
  SipKey key{};
  if (::getrandom(key.data(), key.size(), 0) != static_cast<ssize_t>(key.size()))
    return fail(Errc::io, "the system gives no random numbers", file.string());
  std::string text;
  for (const std::uint8_t byte : key) text += fmt::format("{:02x}", byte);
  text += '\n';
  const auto refuse = [&](int error) {
    return fail(Errc::io, fmt::format("the key cannot be written: {}", std::strerror(error)),
                file.string(), "check the folder's permissions");
  };
  const int handle = ::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (handle < 0) return refuse(errno);
  const bool is_written =
      ::write(handle, text.data(), text.size()) == static_cast<ssize_t>(text.size()) &&
      ::fsync(handle) == 0;
  const int error = errno;
  ::close(handle);
  if (is_written) return {};
  ::unlink(file.c_str());
  return refuse(error);
}

}  // namespace

Result<SipKey> address_key(const std::filesystem::path& database) {
  auto file = database;
  file += ".key";
  std::error_code error;
  if (!std::filesystem::exists(file, error))
    if (auto made = make(file); !made) return tl::unexpected(made.error());
  std::ifstream in(file, std::ios::binary);
  if (!in) return fail(Errc::io, "the key cannot be read", file.string(), "check its permissions");
  return parse({std::istreambuf_iterator<char>(in), {}}, file);
}

std::uint32_t hidden_address(const SipKey& key, std::uint32_t address) {
  return static_cast<std::uint32_t>(siphash(key, std::uint64_t{address})) | 0x8000'0000U;
}

}  // namespace roundel::record
