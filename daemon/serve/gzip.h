// Compression as HTTP's "gzip" coding means it (RFC 1952), by zlib.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace roundel::serve {

/// Of the processor's time.
enum class Effort : std::uint8_t {
  usual,
  little,  ///< a third, for a sixth more bytes
};
std::string gzip(std::string_view plain, Effort effort = Effort::usual);

/// None where it is not whole, valid gzip data, or unpacks to more than `limit` bytes.
std::optional<std::string> gunzip(std::string_view packed, std::size_t limit = 64U << 20);

}  // namespace roundel::serve
