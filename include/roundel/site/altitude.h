// Pressure altitude, which aircraft report, against height, which decides what is in sight.
#pragma once

namespace roundel::site {

inline constexpr double metres_per_foot = 0.3048;  // exact, international foot
inline constexpr double standard_hpa = 1013.25;    // ICAO Standard Atmosphere, Doc 7488
/// Lowest and highest sea-level pressures ever recorded, rounded outwards (from memory: 870 and
/// 1084 hPa).
inline constexpr double least_hpa = 850, most_hpa = 1090;

/// What to add to a pressure altitude, m, to get the height above mean sea level when the pressure
/// reduced to sea level is not the standard one:
///     -H(p),  H(p) = (T0 / L) (1 - (p / 1013.25)^(R L / g)) = 44 330.77 m (1 - (p / p0)^0.190263)
/// (ICAO Standard Atmosphere, Doc 7488: T0 = 288.15 K, L = 6.5 K/km): what setting an altimeter to
/// the local pressure does, about 8.3 m/hPa. Warm and cold air, some 4 % of the height for every
/// 10 K, are left out. 0 at the standard pressure.
/// @param sea_level_hpa  [least_hpa, most_hpa]
double height_offset_m(double sea_level_hpa) noexcept;

}  // namespace roundel::site
