// The shapes of a conclusion on the map, before they are written in a format.
#pragma once
#include <string>
#include <vector>

#include "analysis/present/earth_outline.h"
#include "roundel/present/export.h"

namespace roundel::present {

/// An area with its name, and where in the conclusion its figures stand.
struct ReachShape {
  enum class Kind { horizon, reach, sector } kind;
  std::size_t index;  ///< into reach.limits, into a sector's bands, into sectors
  std::string name;
  std::vector<EarthRing> rings;
};

EarthPoint centre_of(const schema::SiteRow& site);
/// Shapes without extent are left out. In the order horizon, reach, sector.
std::vector<ReachShape> reach_shapes(const Conclusion& of);

}  // namespace roundel::present
