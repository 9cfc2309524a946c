// exp and log of eight at a time, in loops of fixed length: without a branch, which the compiler
// could not go through by four or eight.
#pragma once
#include <bit>
#include <cstdint>

namespace roundel::pattern::levels {

/// exp and log to 1e-7: Moshier, Cephes, expf.c and logf.c.
/// @param x  |x| <= 87
inline float exp_of(float x) {
  constexpr float round = 12582912.0F;  // 1.5 * 2^23: added, the fraction is rounded away
  const float shifted = x * 1.44269504F + round;
  const float n = shifted - round;
  const float r = (x - n * 0.693359375F) + n * 2.12194440e-4F;
  float p = 1.9875691500e-4F;
  p = p * r + 1.3981999507e-3F;
  p = p * r + 8.3334519073e-3F;
  p = p * r + 4.1665795894e-2F;
  p = p * r + 1.6666665459e-1F;
  p = p * r + 5.0000001201e-1F;
  const float power =
      std::bit_cast<float>((std::bit_cast<std::uint32_t>(shifted) << 23U) + 0x3f800000U);
  return (p * r * r + r + 1) * power;
}

/// @param x  > 0 and not denormal
inline float log_of(float x) {
  const auto bits = std::bit_cast<std::uint32_t>(x);
  const std::int32_t exponent = static_cast<std::int32_t>(bits - 0x3f3504f3U) >> 23;
  const float f = std::bit_cast<float>(bits - (static_cast<std::uint32_t>(exponent) << 23U)) - 1;
  const float z = f * f, e = static_cast<float>(exponent);
  float p = 7.0376836292e-2F;
  p = p * f - 1.1514610310e-1F;
  p = p * f + 1.1676998740e-1F;
  p = p * f - 1.2420140846e-1F;
  p = p * f + 1.4249322787e-1F;
  p = p * f - 1.6668057665e-1F;
  p = p * f + 2.0000714765e-1F;
  p = p * f - 2.4999993993e-1F;
  p = p * f + 3.3333331174e-1F;
  return f + (f * z * p - e * 2.12194440e-4F - 0.5F * z) + e * 0.693359375F;
}

inline float lesser(float a, float b) { return a < b ? a : b; }
inline float greater(float a, float b) { return a > b ? a : b; }

}  // namespace roundel::pattern::levels
