// SipHash-2-4: a short keyed hash whose inputs cannot be told from its outputs without the key.
#pragma once
#include <array>
#include <bit>
#include <cstdint>
#include <span>

namespace roundel {

using SipKey = std::array<std::uint8_t, 16>;

/// By J.-P. Aumasson and D. J. Bernstein, SipHash: a fast short-input PRF, INDOCRYPT 2012,
/// section 2. Words are little-endian whatever the machine is.
constexpr std::uint64_t siphash(const SipKey& key, std::span<const std::uint8_t> bytes) noexcept {
  const auto word = [](const std::uint8_t* at, std::size_t n) {
    std::uint64_t out = 0;
    for (std::size_t i = 0; i < n; ++i) out |= std::uint64_t{at[i]} << (8 * i);
    return out;
  };
  const std::uint64_t k0 = word(key.data(), 8), k1 = word(key.data() + 8, 8);
  std::uint64_t v0 = k0 ^ 0x736f6d6570736575, v1 = k1 ^ 0x646f72616e646f6d,
                v2 = k0 ^ 0x6c7967656e657261, v3 = k1 ^ 0x7465646279746573;
  const auto rounds = [&](int n) {
    for (; n > 0; --n) {
      v0 += v1;
      v2 += v3;
      v1 = std::rotl(v1, 13) ^ v0;
      v3 = std::rotl(v3, 16) ^ v2;
      v0 = std::rotl(v0, 32);
      v2 += v1;
      v0 += v3;
      v1 = std::rotl(v1, 17) ^ v2;
      v3 = std::rotl(v3, 21) ^ v0;
      v2 = std::rotl(v2, 32);
    }
  };
  const auto compress = [&](std::uint64_t m) {
    v3 ^= m;
    rounds(2);
    v0 ^= m;
  };
  const std::size_t whole = bytes.size() / 8 * 8;
  for (std::size_t i = 0; i < whole; i += 8) compress(word(bytes.data() + i, 8));
  compress(word(bytes.data() + whole, bytes.size() - whole) | std::uint64_t{bytes.size()} << 56);
  v2 ^= 0xff;
  rounds(4);
  return v0 ^ v1 ^ v2 ^ v3;
}

/// The same of a number, as eight bytes.
constexpr std::uint64_t siphash(const SipKey& key, std::uint64_t number) noexcept {
  std::array<std::uint8_t, 8> bytes{};
  for (std::size_t i = 0; i < 8; ++i) bytes[i] = static_cast<std::uint8_t>(number >> (8 * i));
  return siphash(key, bytes);
}

}  // namespace roundel
