// Random draws that are the same on every machine: own generator, own distributions.
#pragma once
#include <cstdint>

#include "analysis/simulate/numeric.h"

namespace roundel::simulate {

/// One step of splitmix64 (Steele, Lea, Flood 2014, doi:10.1145/2714064.2660195).
inline std::uint64_t mix(std::uint64_t x) {
  x += 0x9E3779B97F4A7C15ULL;
  x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9ULL;
  x = (x ^ (x >> 27)) * 0x94D049BB133111EBULL;
  return x ^ (x >> 31);
}

/// What a stream of draws is for: adding a trial or a feed leaves all other draws as they were.
enum class Purpose : std::uint64_t {
  layout,
  traffic,
  lengths,
  squitters,
  shadow,
  own_shadow,
  reception,
  feed,
  airframe,
  ceiling,
  burst
};

/// xoshiro256++ (Blackman and Vigna 2021, doi:10.1145/3460772), seeded through splitmix64.
class Random {
 public:
  Random() = default;
  Random(std::uint64_t seed, Purpose purpose, std::uint64_t a = 0, std::uint64_t b = 0) {
    std::uint64_t key = mix(mix(mix(mix(seed) ^ static_cast<std::uint64_t>(purpose)) ^ a) ^ b);
    for (auto& word : state_) word = key = mix(key);
  }

  std::uint64_t bits() {
    const std::uint64_t result = rotate(state_[0] + state_[3], 23) + state_[0];
    const std::uint64_t t = state_[1] << 17;
    state_[2] ^= state_[0];
    state_[3] ^= state_[1];
    state_[1] ^= state_[2];
    state_[0] ^= state_[3];
    state_[2] ^= t;
    state_[3] = rotate(state_[3], 45);
    return result;
  }

  /// (0, 1), never an end of it.
  double uniform() { return (static_cast<double>(bits() >> 12) + 0.5) * 0x1p-52; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  bool chance(double share) { return uniform() < share; }
  /// 0 .. n - 1
  std::uint64_t below(std::uint64_t n) {
    return static_cast<std::uint64_t>(uniform() * static_cast<double>(n));
  }
  double exponential() { return -log_of(uniform()); }
  double normal() { return normal_quantile(uniform()); }
  /// Mean 0, deviation 1, nearly normal (four uniform draws summed; never beyond 3.46): for sums of
  /// many, where a true normal draw is not worth its time.
  double bell() {
    const std::uint64_t b = bits();
    const std::uint64_t sum = (b & 0xFFFF) + (b >> 16 & 0xFFFF) + (b >> 32 & 0xFFFF) + (b >> 48);
    return (static_cast<double>(sum) - 131070) * (1.7320508075688772935 / 65536);
  }
  /// Successes in n tries; n small (the search takes n min(p, 1 - p) steps).
  int binomial(int n, double p);

  /// The standard normal's inverse distribution, algorithm AS 241, PPND16 (Wichura 1988, Applied
  /// Statistics 37:477, doi:10.2307/2347330), 1e-15 relative.
  static double normal_quantile(double p);

 private:
  static std::uint64_t rotate(std::uint64_t x, int k) { return (x << k) | (x >> (64 - k)); }
  std::uint64_t state_[4]{1, 2, 3, 4};
};

}  // namespace roundel::simulate
