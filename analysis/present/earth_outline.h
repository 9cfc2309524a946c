// Outlines around the antenna as rings of coordinates that map programs draw rightly.
#pragma once
#include <optional>
#include <vector>

#include "roundel/pattern/reach.h"

namespace roundel::present {

struct EarthPoint {
  double longitude_deg{};  ///< [-180, 180]
  double latitude_deg{};
  double height_m{};  ///< above mean sea level
};
using EarthRing = std::vector<EarthPoint>;  ///< closed: the last point is the first

/// How far an outline reaches in one sector, and how high.
struct Extent {
  double range_km{};
  double height_m{};
};

/// Where one stands at a range on a bearing (direct geodesic on WGS 84, GeographicLib).
EarthPoint earth_point(const EarthPoint& from, double bearing_deg, const Extent& to);

/// The area within each sector's extent, as exterior rings counterclockwise (RFC 7946, 3.1.6), cut
/// where they cross the antimeridian (3.1.9), and closed along it where they hold a pole. Sectors
/// without an extent lie outside. Arcs have a point every degree or less. Within reach of a pole a
/// ring may touch itself there.
/// @param sectors  clockwise from north, evenly wide
std::vector<EarthRing> earth_outline(const EarthPoint& centre,
                                     const std::vector<std::optional<Extent>>& sectors);

/// One ring, closed, whose longitudes run on past 180 where it does, cut as above. Public for
/// tests.
std::vector<EarthRing> cut_at_antimeridian(EarthRing ring);

}  // namespace roundel::present
