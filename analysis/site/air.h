// Refractive index by height: what rays are traced through.
#pragma once
#include <array>
#include <span>

#include "roundel/site/refraction.h"

namespace roundel::site {

struct Air {
  double n;             ///< refractive index
  double slope_per_km;  ///< dn/dh
};

/// At a height above the surface, also a little below it.
Air air_at(const Atmosphere& atmosphere, double height_km) noexcept;

/// Heights at which the gradient jumps, km, ascending: integrals are cut there.
std::span<const double> breaks_km(const Atmosphere& atmosphere) noexcept;

}  // namespace roundel::site
