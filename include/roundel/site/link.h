// The link budget from an aircraft's transponder to the receiver.
#pragma once
#include "roundel/site/refraction.h"

namespace roundel::site {

inline constexpr double carrier_mhz = 1090;

/// Cable between antenna and receiver.
struct Feeder {
  double length_m = 0;
  double db_per_100m = 20;  ///< at 1 GHz; grows as the square root of frequency (skin effect)
  int connectors = 2;
  double connector_db = 0.1;  ///< each; common practice, no source
  /// Length and connectors at 1090 MHz, dB.
  double loss_db() const noexcept;
};

enum class Ground { smooth, two_ray };

/// Everything from the transponder's antenna to the receiver's threshold.
struct Link {
  /// At the aircraft's antenna. Larger classes: 125 to 500 W, 51 to 57 dBm (14 CFR 43 appendix F;
  /// EASA CS-ACNS ELS.010); the default is the middle of it.
  double power_dbm = 54;
  double aircraft_antenna_dbi = 0;  ///< towards the horizon; common practice, no source
  int elements = 1;  ///< half-wave dipoles above each other, half a wavelength apart, in phase
  Feeder feeder;
  /// Weakest message that is read, at the receiver's input. -92 dBm is -174 dBm/Hz in 2.4 MHz, a
  /// noise figure of 6 dB and a signal 12 dB over the noise: common practice, no source.
  double threshold_dbm = -92;
  double receiver_noise_db = 6;   ///< noise figure behind that threshold
  double amplifier_db = 0;        ///< gain of one at the antenna; 0: none
  double amplifier_noise_db = 1;  ///< its noise figure
  Ground ground = Ground::smooth;
  double roughness_m = 0;  ///< two_ray: standard deviation of the reflecting surface's height
};

/// Gain of the receive antenna at an elevation, dBi: half-wave dipole cos(90 sin e) / cos e
/// (Balanis, Antenna Theory, from memory) times the array factor; the directivity by integration
/// over the sphere: 2.15 dBi for one.
double antenna_gain_dbi(int elements, double elevation_deg) noexcept;

/// By how much an amplifier lowers the threshold, seen at the antenna, dB: Friis' formula for
/// feeder and receiver without and behind it, F = L Fr against Fa + (L Fr - 1) / G.
double amplifier_benefit_db(const Link& link) noexcept;

/// A path over a smooth Earth between h1 and h2.
struct Path {
  double radius_km;   ///< of curvature along the bearing
  double h1_m, h2_m;  ///< above the surface, > 0
  double horizon_km;  ///< by whichever refraction is chosen
};

/// Median basic transmission loss at 1090 MHz, dB: that between isotropic antennas, exceeded half
/// the time.
///   free space    Rec. ITU-R P.525: 32.45 + 20 log f + 20 log slant
///   air           0.006 dB/km at sea level falling by e every 6 km: fitted to the absorption
///                 columns of P.528-5, within 0.06 dB
///   diffraction   Rec. ITU-R P.526 section 3.1.1 and 3.2, smooth Earth, over the effective radius
///                 whose horizon is `horizon_km`
///   median        what P.528-5 adds inside the horizon for the variability of long low paths,
///                 13.5 dB (range / horizon - 0.57): fitted to its tables
///   scatter       Rec. ITU-R P.617-1, continental temperate, beyond the horizon, with the loss of
///                 low antennas towards small scatter angles
/// Against the tables of P.528-5: within 3 dB inside 0.9 of the horizon and 6 dB up to 1.1 of it
/// (docs/expect.md has the differences). P.526, P.617: from memory, edition to be checked.
double median_loss_db(const Path& path, double range_km) noexcept;

/// How much direct and reflected ray together exceed the direct one, dB: up to 6, and deep nulls.
/// Fresnel's coefficient, vertical polarisation, over sea (relative permittivity 70, 5 S/m), smooth
/// but for roughness (Ament 1953: exp(-2 (2 pi s sin psi / lambda)^2)), with the divergence left
/// out. Over the effective Earth, at the reflection point found by bisection. 0 from where the path
/// has less than P.526's clearance on: diffraction rules there.
double two_ray_gain_db(const Path& path, double range_km, double roughness_m) noexcept;

/// Received level over the threshold, median, dB.
double margin_db(const Link& link, const Path& path, double range_km) noexcept;

/// The farthest range with a margin of 0, km: by bisection from beyond the horizon inwards. At most
/// 2000.
double link_km(const Link& link, const Path& path) noexcept;

}  // namespace roundel::site
