// How far an aircraft can be heard at most: the limit that every range is held against.
#pragma once
#include <memory>
#include <string_view>

#include "roundel/result.h"
#include "roundel/site/refraction.h"
#include "roundel/site/sightline.h"

namespace roundel::site {

/// What ends the range.
enum class LimitCause { horizon, mask, terrain, link };
/// "horizon", "mask", "terrain", "link".
std::string_view name_of(LimitCause cause);

/// The farthest range at which reception is to be expected. One interface for horizon, mask,
/// terrain and link budget, so that tables and pictures need not know which. Pure and thread-safe.
class Limit {
 public:
  virtual ~Limit() = default;
  /// Range along the ground, km, > 0 for an antenna or aircraft above the surface.
  /// @param bearing_deg  clockwise from true north
  /// @param altitude_ft  pressure altitude above mean sea level
  virtual double limit_km(double bearing_deg, double altitude_ft) const noexcept = 0;
  /// What ends it there.
  virtual LimitCause cause(double bearing_deg, double altitude_ft) const noexcept;
  /// What it is called wherever it is drawn or divided by: "4/3 Earth". Methods differ by 2 % at
  /// cruising height (README of the reference values), so no ratio is shown without it.
  virtual std::string_view method() const noexcept = 0;
};

/// By the effective-Earth factor with the ellipsoid's radius of curvature along the bearing: the
/// viewpoint's horizon_km(). The viewpoint must outlive it.
std::unique_ptr<Limit> effective_earth_limit(const Viewpoint& viewpoint);

/// The smooth-earth horizon by any method: what ranges are divided by. The viewpoint must outlive
/// it.
std::unique_ptr<Limit> horizon_limit(const Viewpoint& viewpoint, const Refraction& refraction);

/// By ray through the atmosphere, same radius. The viewpoint must outlive it.
/// Errc::out_of_range names the quantity that no ray horizon exists for.
Result<std::unique_ptr<Limit>> ray_limit(const Viewpoint& viewpoint,
                                         const Atmosphere& atmosphere = {});

}  // namespace roundel::site
