// Positions that local decoding has put one ambiguity cell from where the aircraft is.
#pragma once
#include <optional>

#include "roundel/site/path.h"

namespace roundel::record {

/// Number of longitude zones, NL, at a latitude: 59 at the equator, 1 beyond 87 degrees.
///     NL = floor(2 pi / acos(1 - (1 - cos(pi / 30)) / cos^2(latitude)))
/// ICAO Annex 10 Vol IV / RTCA DO-260B, compact position reporting, 15 zones; from memory.
int longitude_zones(double latitude_deg) noexcept;

/// Smallest ambiguity cell anywhere, km: 6 degrees of latitude or of longitude on the equator.
inline constexpr double smallest_fold_km = 665;

/// The place that `fix` would be if local decoding had been a cell off, where that lies within
/// limit_km of `near`; none if no such place does, or `fix` itself is meant.
///
/// A message holds where in its zone the aircraft is, not in which zone: zones are 360/60 (even
/// messages) or 360/59 (odd) degrees of latitude and 360/max(NL - i, 1) of longitude (i = 0 even,
/// 1 odd). Decoding takes the zone nearest to the receiver. A wrong zone of latitude brings the
/// NL of that latitude with it, so that the longitude is off by no whole zone: it is coded again
/// with the zones of the wrong latitude, and decoded with those of the right one.
std::optional<site::Place> unfold(const site::Place& fix, const site::Place& near,
                                  double limit_km) noexcept;

}  // namespace roundel::record
