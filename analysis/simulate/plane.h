// The map traffic is flown on: azimuthal equidistant around the site, and what the antenna sees.
#pragma once
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::simulate {

/// East and north of the site, km; length and direction are range and bearing.
struct Place {
  double x_km{}, y_km{};
};

struct Position {
  double latitude_deg{}, longitude_deg{};
};

/// Where an aircraft stands as seen from the antenna.
struct Sight {
  double range_km{}, slant_km{};
  double elevation_deg{};
  double bearing_deg{};  ///< [0, 360)
  double sin_bearing{}, cos_bearing{};
};

/// Traffic flies straight in this projection, which is within 0.3 km of the great circle for a leg
/// across the whole area.
class Plane {
 public:
  /// @param site latitude within 75 degrees of the equator
  Plane(const schema::SiteRow& site, double earth_factor);

  /// WGS 84 by GeographicLib at the nodes of a 40 km grid, cubic between them: exact to 1 cm
  /// within 680 km.
  Position position(Place place) const;
  /// By GeographicLib.
  Place place(Position position) const;

  /// Range and bearing of the place; slant and elevation over a sphere of the bearing's radius of
  /// curvature (Euler) times the effective-Earth factor.
  Sight sight(Place place, double altitude_ft) const;
  /// Elevation of the horizon ray, <= 0: the antenna looks down on it.
  double horizon_elevation_deg() const { return horizon_elevation_deg_; }
  /// Range at which an aircraft at that altitude stands on the horizon ray.
  double horizon_km(const Sight& sight, double altitude_ft) const;
  double latitude_deg() const { return latitude_deg_; }
  double longitude_deg() const { return longitude_deg_; }

 private:
  double curvature_per_km(double cos_bearing) const;  // of the effective Earth
  double height_km(double altitude_ft) const;

  double latitude_deg_, longitude_deg_;
  double surface_km_, antenna_km_;
  double meridian_km_, normal_km_;  // radii of curvature times the effective-Earth factor
  double horizon_elevation_deg_;
  std::vector<Position> nodes_;  // longitude relative to the site's
};

}  // namespace roundel::simulate
