// What a conducting mast beside a vertical antenna does to its pattern.
#pragma once
#include <complex>
#include <vector>

#include "roundel/result.h"

namespace roundel::trial {

/// Wavelength at 1090 MHz, mm (299 792 458 m/s exactly).
inline constexpr double wavelength_mm = 299792458.0 / 1090e6 * 1000;

/// Vertical line source at distance b from the axis of a parallel, perfectly conducting mast of
/// radius a, both long, far field, relative to the source alone:
///
///     E(phi) = sum over n >= 0 of e_n j^n [J_n(kb) - J_n(ka) / H_n(ka) H_n(kb)] cos(n phi)
///
/// e_0 = 1, else 2; H_n = J_n - j Y_n; k = 2 pi / wavelength; phi from the direction mast ->
/// antenna, so that the mast stands at phi = 180 degrees (Harrington, Time-Harmonic
/// Electromagnetic Fields, chapter 5; from memory). Bessel functions by Boost.Math.
///
/// Limits: an antenna above the mast, not beside it, is not covered (its ripple is zero, common
/// practice); an antenna touching the mast is shorted (E -> 0).
class MastModel {
 public:
  /// @param radius_mm     of the mast, > 0, at most 2000
  /// @param spacing_mm    between the axes, > radius_mm, at most 20 000
  /// Errc::out_of_range names the quantity and the value refused.
  static Result<MastModel> make(double radius_mm, double spacing_mm);
  /// From the electrical sizes; the same ranges in wavelengths.
  static Result<MastModel> from_electrical(double ka, double kb);

  /// E(phi); 1 is the antenna alone.
  std::complex<double> field(double phi_deg) const;
  /// 20 log10 |E|, dB against the antenna alone, not below -200.
  double level_db(double phi_deg) const;
  /// Gain towards a bearing when the mast stands on `mast_bearing_deg` from the antenna.
  double gain_db(double bearing_deg, double mast_bearing_deg) const {
    return level_db(bearing_deg - mast_bearing_deg - 180);
  }
  /// Largest less smallest level over all bearings, dB, on a 0.25 degree grid.
  double ripple_db() const;
  /// Mean over bearings of |E|^2.
  double mean_power() const;

 private:
  explicit MastModel(std::vector<std::complex<double>> terms) : terms_(std::move(terms)) {}
  std::vector<std::complex<double>> terms_;  // factor of cos(n phi)
};

}  // namespace roundel::trial
