// What range to expect, as JSON and as a picture; and a mask from what was heard.
#pragma once
#include <string>
#include <vector>

#include "roundel/pattern/verdict.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"
#include "roundel/site/expect.h"

namespace roundel::present {

/// What to heed before touching an antenna on a roof or mast. Printed once wherever advice means
/// it.
const std::vector<std::string>& mounting_cautions();

/// The object of the interface. Keys: method, antenna_m, sea_level_hpa, feeder_db, altitudes[]
/// {altitude_ft, horizon_km, horizon_effective_km, horizon_ray_km, horizon_geometric_km, link_km,
/// expected_km, limited_by, median_db_margin_at_horizon}, bearings[] {bearing_deg, mask_deg,
/// expected_km_by_altitude[], limited_by_altitude[]}, help[] {what, gain_km_by_altitude[]},
/// warnings[], cautions[]. Not known is null. Ends without a newline.
std::string expect_json(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                        double sector_deg);

/// Polar plot: one outline per altitude (three at most, the highest), bearings where mask or
/// terrain limits marked.
/// @param about  for the title; may be empty
std::string expect_svg(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                       double sector_deg, Units units, const std::string& about,
                       Form form = Form::document);

/// A mask file (site/mask.h) from the verdict's cut-offs: one elevation a sector, that of the
/// horizon where no wall was found. Comments name the sectors nobody could judge and the spread of
/// the cut-offs.
std::string survey_mask(const pattern::Verdict& verdict, double dip_deg, const std::string& about);

}  // namespace roundel::present
