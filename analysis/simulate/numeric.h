// Elementary functions made of + - * / and square root alone.
//
// The C library's sin, exp, log differ in the last bit between versions and processors; a
// simulation that must give the same bytes everywhere cannot use them. These agree with it to
// 1e-14 relative (tests/simulate/numeric_test.cpp) and are as fast. The room is compiled with
// -ffp-contract=off, since a fused multiply-add rounds differently too.
#pragma once
#include <bit>
#include <cmath>
#include <cstdint>

namespace roundel::simulate {

inline constexpr double pi = 3.14159265358979323846;
inline constexpr double degree = pi / 180;
inline constexpr double ln2 = 0.69314718055994530942;
inline constexpr double db_per_neper = 8.6858896380650365530;  // 20 / ln 10

/// c[0] + c[1] x + ... Even and odd terms apart: the processor works on both at once.
template <int n>
constexpr double polynomial(const double (&c)[n], double x) {
  static_assert(n >= 2);
  const double z = x * x;
  double even = c[(n - 1) / 2 * 2], odd = c[(n - 2) / 2 * 2 + 1];
  for (int k = (n - 1) / 2 * 2 - 2; k >= 0; k -= 2) even = even * z + c[k];
  for (int k = (n - 2) / 2 * 2 - 1; k >= 1; k -= 2) odd = odd * z + c[k];
  return even + x * odd;
}

/// Natural logarithm; x > 0, normal.
inline double log_of(double x) {
  auto bits = std::bit_cast<std::uint64_t>(x);
  auto exponent = static_cast<int>(bits >> 52) - 1023;
  bits = (bits & 0x000FFFFFFFFFFFFFULL) | 0x3FF0000000000000ULL;
  double m = std::bit_cast<double>(bits);
  if (m > 1.41421356237309504880) {
    m *= 0.5;
    ++exponent;
  }
  // log m = 2 artanh(s), |s| < 0.172: the series' next term is below 1e-16.
  const double s = (m - 1) / (m + 1), z = s * s;
  static constexpr double terms[] = {1.0,      1.0 / 3,  1.0 / 5,  1.0 / 7, 1.0 / 9,
                                     1.0 / 11, 1.0 / 13, 1.0 / 15, 1.0 / 17};
  return exponent * ln2 + 2 * s * polynomial(terms, z);
}

/// 20 log10(x); x > 0.
inline double decibels(double x) { return db_per_neper * log_of(x); }

/// e^x; 0 below -700, never above e^700.
inline double exp_of(double x) {
  if (x < -700) return 0;
  if (x > 700) x = 700;
  const double scaled = x * (1 / ln2);
  const auto n = static_cast<std::int64_t>(scaled + (scaled < 0 ? -0.5 : 0.5));
  // ln 2 in two parts, so that the remainder keeps its digits.
  const double r = (x - static_cast<double>(n) * 6.93147180369123816490e-01) -
                   static_cast<double>(n) * 1.90821492927058770002e-10;
  static constexpr double c[] = {1.0,          1.0 / 2,       1.0 / 6,        1.0 / 24,
                                 1.0 / 120,    1.0 / 720,     1.0 / 5040,     1.0 / 40320,
                                 1.0 / 362880, 1.0 / 3628800, 1.0 / 39916800, 1.0 / 479001600};
  return (1 + r * polynomial(c, r)) *
         std::bit_cast<double>(static_cast<std::uint64_t>(n + 1023) << 52);
}

inline double logistic(double x) { return 1 / (1 + exp_of(-x)); }

struct SinCos {
  double sin, cos;
};

/// Sine and cosine of an angle in radians, |x| < 1e6.
inline SinCos sin_cos(double x) {
  const double turns = x * (2 / pi);
  const auto n = static_cast<std::int64_t>(turns + (turns < 0 ? -0.5 : 0.5));
  const double r = (x - static_cast<double>(n) * 1.57079632673412561417) -
                   static_cast<double>(n) * 6.07710050650619224932e-11;
  const double z = r * r;
  static constexpr double s_terms[] = {
      1.0,          -1.0 / 6,        1.0 / 120,        -1.0 / 5040,
      1.0 / 362880, -1.0 / 39916800, 1.0 / 6227020800, -1.0 / 1307674368000};
  static constexpr double c_terms[] = {1.0,
                                       -1.0 / 2,
                                       1.0 / 24,
                                       -1.0 / 720,
                                       1.0 / 40320,
                                       -1.0 / 3628800,
                                       1.0 / 479001600,
                                       -1.0 / 87178291200,
                                       1.0 / 20922789888000};
  const double s = r * polynomial(s_terms, z), c = polynomial(c_terms, z);
  switch (n & 3) {
    case 0:
      return {s, c};
    case 1:
      return {c, -s};
    case 2:
      return {-s, -c};
    default:
      return {-c, s};
  }
}

/// Angle of the vector (x, y) from the x axis, (-pi, pi]; 0 for (0, 0).
inline double angle_of(double y, double x) {
  const double ay = std::fabs(y), ax = std::fabs(x);
  if (ax == 0 && ay == 0) return 0;
  const bool is_steep = ay > ax;
  double t = is_steep ? ax / ay : ay / ax;
  double base = 0;
  if (t > 0.26794919243112270647) {  // tan 15 degrees
    t = (t * 1.73205080756887729353 - 1) / (t + 1.73205080756887729353);
    base = pi / 6;
  }
  static constexpr double terms[] = {1.0,      -1.0 / 3,  1.0 / 5,  -1.0 / 7,  1.0 / 9,  -1.0 / 11,
                                     1.0 / 13, -1.0 / 15, 1.0 / 17, -1.0 / 19, 1.0 / 21, -1.0 / 23};
  double angle = base + t * polynomial(terms, t * t);
  if (is_steep) angle = pi / 2 - angle;
  if (x < 0) angle = pi - angle;
  return y < 0 ? -angle : angle;
}

/// Into [0, 360).
inline double wrap_360(double deg) {
  deg -= 360 * std::floor(deg / 360);
  return deg < 360 ? deg : 0;
}

/// Whether `bearing` lies on the way clockwise from `from` to `to`; 0 to 360 is all around.
inline bool lies_between(double bearing, double from, double to) {
  const double width = to - from >= 360 ? 360 : wrap_360(to - from);
  return wrap_360(bearing - from) <= width;
}

/// Nearest whole number, halves away from zero.
inline std::int64_t whole(double x) { return static_cast<std::int64_t>(x + (x < 0 ? -0.5 : 0.5)); }

}  // namespace roundel::simulate
