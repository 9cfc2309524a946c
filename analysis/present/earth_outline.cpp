#include "analysis/present/earth_outline.h"

#include <GeographicLib/Geodesic.hpp>
#include <algorithm>
#include <cmath>
#include <numeric>

namespace roundel::present {
namespace {

/// The longitude nearest to `near_deg` that means the same meridian.
double unwrapped(double longitude_deg, double near_deg) {
  return longitude_deg + 360 * std::round((near_deg - longitude_deg) / 360);
}

EarthPoint at_meridian(const EarthPoint& a, const EarthPoint& b, double longitude_deg) {
  const double t = (longitude_deg - a.longitude_deg) / (b.longitude_deg - a.longitude_deg);
  return {longitude_deg, std::lerp(a.latitude_deg, b.latitude_deg, t),
          std::lerp(a.height_m, b.height_m, t)};
}

void close(EarthRing& ring) {
  if (!ring.empty()) ring.push_back(ring.front());
}

/// The parts of a simple ring (open: without its last point) on one side of a meridian: chains
/// between crossings, joined along the meridian from each crossing to its neighbour in latitude.
std::vector<EarthRing> side_of(const EarthRing& ring, double meridian_deg, bool east) {
  const auto inside = [&](const EarthPoint& point) {
    return east ? point.longitude_deg > meridian_deg : point.longitude_deg <= meridian_deg;
  };
  const std::size_t n = ring.size();
  std::size_t start = 0;  // a point outside, so that no chain runs over the end
  while (start < n && inside(ring[start])) ++start;
  if (start == n) return {ring};
  std::vector<EarthRing> chains;
  for (std::size_t k = 0; k < n; ++k) {
    const EarthPoint& a = ring[(start + k) % n];
    const EarthPoint& b = ring[(start + k + 1) % n];
    if (!inside(a) && inside(b)) chains.push_back({at_meridian(a, b, meridian_deg)});
    if (inside(b)) chains.back().push_back(b);
    if (inside(a) && !inside(b)) chains.back().push_back(at_meridian(a, b, meridian_deg));
  }
  // Crossings by latitude: the 1st and 2nd bound one piece of the meridian inside, and so on.
  struct Crossing {
    double latitude_deg;
    std::size_t chain;
    bool is_start;
  };
  std::vector<Crossing> crossings;
  for (std::size_t i = 0; i < chains.size(); ++i) {
    crossings.push_back({chains[i].front().latitude_deg, i, true});
    crossings.push_back({chains[i].back().latitude_deg, i, false});
  }
  std::stable_sort(crossings.begin(), crossings.end(),
                   [](const auto& a, const auto& b) { return a.latitude_deg < b.latitude_deg; });
  std::vector<std::size_t> next(chains.size());
  for (std::size_t i = 0; i + 1 < crossings.size(); i += 2) {
    const Crossing& low = crossings[i];
    const Crossing& high = crossings[i + 1];
    (low.is_start ? next[high.chain] : next[low.chain]) = low.is_start ? low.chain : high.chain;
  }
  std::vector<EarthRing> out;
  std::vector<bool> used(chains.size());
  for (std::size_t i = 0; i < chains.size(); ++i) {
    if (used[i]) continue;
    EarthRing joined;
    for (std::size_t j = i; !used[j]; j = next[j]) {
      used[j] = true;
      joined.insert(joined.end(), chains[j].begin(), chains[j].end());
    }
    out.push_back(std::move(joined));
  }
  return out;
}

}  // namespace

EarthPoint earth_point(const EarthPoint& from, double bearing_deg, const Extent& to) {
  EarthPoint out;
  GeographicLib::Geodesic::WGS84().Direct(from.latitude_deg, from.longitude_deg, bearing_deg,
                                          1000 * to.range_km, out.latitude_deg, out.longitude_deg);
  out.height_m = to.height_m;
  return out;
}

std::vector<EarthRing> cut_at_antimeridian(EarthRing ring) {
  if (ring.size() < 4) return {};
  for (std::size_t i = 1; i < ring.size(); ++i)
    ring[i].longitude_deg = unwrapped(ring[i].longitude_deg, ring[i - 1].longitude_deg);
  // A point on the meridian lies on neither side: 20 cm west of it, which the output's digits keep.
  for (EarthPoint& point : ring) {
    const double meridian_deg = unwrapped(180, point.longitude_deg);
    if (std::abs(point.longitude_deg - meridian_deg) < 1e-6)
      point.longitude_deg = meridian_deg - 2e-6;
  }
  const double turn_deg = ring.back().longitude_deg - ring.front().longitude_deg;
  if (std::abs(turn_deg) > 180) {
    // Once around a pole: on the map the ring is closed along the map's edge. Counterclockwise as
    // seen from above means eastward around the north pole, westward around the south pole.
    const double pole_deg = turn_deg > 0 ? 90 : -90;
    const EarthPoint first = ring.front();
    const EarthPoint last = ring.back();
    ring.push_back({last.longitude_deg, pole_deg, last.height_m});
    ring.push_back({first.longitude_deg, pole_deg, first.height_m});
  } else {
    ring.pop_back();
  }
  // A wobble around a pole may run past the map's edge on both sides.
  std::vector<EarthRing> parts{std::move(ring)};
  for (const double meridian_deg : {-540.0, -180.0, 180.0, 540.0}) {
    std::vector<EarthRing> cut;
    for (const EarthRing& part : parts)
      for (const bool east : {false, true}) {
        const bool any = std::any_of(part.begin(), part.end(), [&](const EarthPoint& point) {
          return east ? point.longitude_deg > meridian_deg : point.longitude_deg <= meridian_deg;
        });
        if (!any) continue;
        for (EarthRing& piece : side_of(part, meridian_deg, east)) cut.push_back(std::move(piece));
      }
    parts = std::move(cut);
  }
  for (EarthRing& part : parts) {
    const auto [west, east] = std::minmax_element(
        part.begin(), part.end(),
        [](const EarthPoint& a, const EarthPoint& b) { return a.longitude_deg < b.longitude_deg; });
    const double turns = std::round((west->longitude_deg + east->longitude_deg) / 2 / 360);
    const bool is_sliver = east->longitude_deg - west->longitude_deg < 1e-5;
    for (EarthPoint& point : part) point.longitude_deg -= 360 * turns;
    if (is_sliver) part.clear();
  }
  std::vector<EarthRing> out;
  for (EarthRing& part : parts) {
    const auto same = [](const EarthPoint& a, const EarthPoint& b) {
      return a.longitude_deg == b.longitude_deg && a.latitude_deg == b.latitude_deg;
    };
    part.erase(std::unique(part.begin(), part.end(), same), part.end());
    if (part.size() < 3) continue;
    close(part);
    out.push_back(std::move(part));
  }
  return out;
}

std::vector<EarthRing> earth_outline(const EarthPoint& centre,
                                     const std::vector<std::optional<Extent>>& sectors) {
  const std::size_t n = sectors.size();
  if (n == 0) return {};
  const double width_deg = 360.0 / static_cast<double>(n);
  const int steps = std::max(1, static_cast<int>(std::ceil(width_deg)));
  // Near a pole all is turned by 4 seconds of arc, so that no edge runs right over it.
  const double turned_deg = std::abs(centre.latitude_deg) > 80 ? 0.001 : 0;
  const auto edge_deg = [&](double sector) { return sector * width_deg + turned_deg; };
  const auto arc = [&](EarthRing& ring, std::size_t sector) {  // against the clock
    for (int step = steps; step >= 0; --step)
      ring.push_back(earth_point(
          centre, edge_deg(static_cast<double>(sector) + static_cast<double>(step) / steps),
          *sectors[sector]));
  };
  // Straight on the Earth is not straight on the map, least of all by a pole.
  const double step_km = std::abs(centre.latitude_deg) > 80 ? 2 : 50;
  const auto ray = [&](EarthRing& ring, double bearing_deg, const Extent& to, bool outwards) {
    const int n_steps = static_cast<int>(std::ceil(to.range_km / step_km));
    for (int k = 1; k < n_steps; ++k) {
      const double share = static_cast<double>(outwards ? k : n_steps - k) / n_steps;
      ring.push_back(
          earth_point(centre, bearing_deg,
                      {share * to.range_km, std::lerp(centre.height_m, to.height_m, share)}));
    }
  };
  std::vector<EarthRing> out;
  const auto add = [&](EarthRing ring) {
    close(ring);
    for (EarthRing& part : cut_at_antimeridian(std::move(ring))) out.push_back(std::move(part));
  };
  std::size_t gap = 0;
  while (gap < n && sectors[gap]) ++gap;
  if (gap == n) {
    EarthRing ring;
    for (std::size_t i = n; i-- > 0;) arc(ring, i);
    add(std::move(ring));
    return out;
  }
  // From the gap once around, against the clock; each run of sectors is a ring through the centre.
  EarthRing ring;
  for (std::size_t k = 1; k <= n; ++k) {
    const std::size_t i = (gap + n - k) % n;
    if (sectors[i]) {
      if (ring.empty()) {
        ring.push_back(centre);
        ray(ring, edge_deg(static_cast<double>(i + 1)), *sectors[i], true);
      }
      arc(ring, i);
    } else if (!ring.empty()) {
      const std::size_t last = (i + 1) % n;
      ray(ring, edge_deg(static_cast<double>(last)), *sectors[last], false);
      add(std::move(ring));
      ring = {};
    }
  }
  return out;
}

}  // namespace roundel::present
