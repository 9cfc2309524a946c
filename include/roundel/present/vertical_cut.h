// One bearing from the side: range against altitude.
#pragma once
#include <string>

#include "roundel/pattern/reach.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"
#include "roundel/site/sightline.h"

namespace roundel::present {

/// Two of the sectors with a reach, by its share of the horizon. None without any.
struct ExtremeSectors {
  std::size_t worst{}, best{};  ///< indices into reach.sectors
};
std::optional<ExtremeSectors> extreme_sectors(const pattern::Reach& reach);

/// What the cut of a sector shows, in words.
std::string vertical_cut_sentence(const pattern::Reach& reach, const pattern::Verdict& verdict,
                                  std::size_t sector, Units units);

/// The farthest aircraft of each band of altitude against the radio horizon, and the line of the
/// cut-off where there is one: below it nothing is heard at any range.
/// @param id  prefix of ids, unique on a page
std::string vertical_cut_svg(const site::Viewpoint& viewpoint, const pattern::Reach& reach,
                             const pattern::Verdict& verdict, std::size_t sector, Units units,
                             const std::string& id, Form form = Form::document);

}  // namespace roundel::present
