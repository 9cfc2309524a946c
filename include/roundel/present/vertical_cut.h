// One bearing from the side: range against altitude.
#pragma once
#include <string>

#include "roundel/pattern/cut.h"
#include "roundel/pattern/reach.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"
#include "roundel/site/sightline.h"

namespace roundel::present {

/// Pictures end there: airliners fly lower.
inline constexpr double cut_top_ft = 45'000;

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
/// @param id   prefix of ids, unique on a page
std::string vertical_cut_svg(const site::Viewpoint& viewpoint, const pattern::Reach& reach,
                             const pattern::Verdict& verdict, std::size_t sector, Units units,
                             const std::string& id, Form form = Form::document);

/// The cut itself: shares heard by range and altitude, the horizon, lines of constant elevation.
std::string cut_svg(const pattern::Cut& cut, Units units, const std::string& title);

/// The cut in words: flights, hours, share heard, and what the verdict says of the sector.
std::string cut_sentence(const pattern::Cut& cut, Units units);

/// As /api/cut answers it (web/src/api.ts, CutAnswer), and a few counts beside it.
std::string cut_json(const pattern::Cut& cut);

}  // namespace roundel::present
