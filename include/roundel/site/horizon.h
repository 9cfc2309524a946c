// The smooth-earth radio horizon, by formula.
#pragma once
#include "roundel/site/refraction.h"

namespace roundel::site {

/// Smooth-earth radio horizon, km along the ground, between heights h1 and h2 over a sphere, by
/// the effective-Earth factor: R k (acos(R k / (R k + h1)) + acos(R k / (R k + h2))).
/// @param radius_km  > 0
/// @param k          > 0
/// @param h1_m, h2_m above the surface; below it counts as 0
double horizon_km(double radius_km, double k, double h1_m, double h2_m) noexcept;

/// The same horizon by tracing the grazing ray through an atmosphere: for each terminal
///     d = R Int n0 R / (r sqrt((n r)^2 - (n0 R)^2)) dr,  r from R to R + h
/// (Bouguer's invariant n r cos(elevation) along the ray). Exact to 1e-9 relative.
/// Precondition, asserted: N0 / h0 below 1e6 / R, or the ray would never leave the surface (a
/// duct). P.453's profile only; Refraction does any.
double ray_horizon_km(double radius_km, const Atmosphere& atmosphere, double h1_m,
                      double h2_m) noexcept;

}  // namespace roundel::site
