// Compression as HTTP's "gzip" coding means it (RFC 1952), by zlib.
#pragma once
#include <optional>
#include <string>
#include <string_view>

namespace roundel::serve {

std::string gzip(std::string_view plain);

/// None where it is not whole, valid gzip data, or unpacks to more than `limit` bytes.
std::optional<std::string> gunzip(std::string_view packed, std::size_t limit = 64U << 20);

}  // namespace roundel::serve
