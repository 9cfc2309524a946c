// Reach as a sentence, as JSON, as a picture.
#pragma once
#include <string>

#include "roundel/pattern/reach.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"

namespace roundel::present {

/// The answer in words: farthest aircraft, bearings that fall short, bearings without traffic. Says
/// what is missing where nothing can be told.
std::string reach_sentence(const pattern::Reach& reach, Units units);

/// What was kept apart, as sentences: ranges beyond the horizon, hours of ducting. Empty if none.
std::string beyond_sentence(const pattern::Reach& reach, Units units);

/// One object. Keys: sentence, sentence_aviation (its ranges in NM first), sector_deg,
/// limit_method, farthest, sectors[] {bearing_deg, reach_km, altitude_ft, horizon_km, ratio,
/// address, time, half_rate_km, half_rate_low_km, half_rate_high_km, half_rate_flights,
/// first_heard_km, last_heard_km {low, median, high, flights}, flights, cells, by_altitude[]
/// {altitude_low_ft, altitude_high_ft, reach_km, ...}}, limits[] {altitude_ft, horizon_km,
/// horizon_km_by_sector[]}, beyond {cells, farthest, hours[] {time, flights, cells, heard_cells}},
/// flights, cells, reports, from, to. What is not known is null, never zero. Ends without a
/// newline.
std::string reach_json(const pattern::Reach& reach);

/// The polar plot: wedges by altitude band, limit lines, sectors that fall short or lack traffic.
/// @param about  what was selected, for the title: "Hill house, collinear". May be empty.
std::string reach_svg(const pattern::Reach& reach, Units units, const std::string& about,
                      Form form = Form::document);

}  // namespace roundel::present
