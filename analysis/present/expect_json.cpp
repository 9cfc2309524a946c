#include "analysis/present/json.h"
#include "roundel/present/expect.h"

namespace roundel::present {

const std::vector<std::string>& mounting_cautions() {
  static const std::vector<std::string> cautions{
      "Working at height kills: ladders tied, harness, never alone, never in wind or wet.",
      "Keep mast, antenna and cable farther from overhead power lines than their whole length.",
      "Earth mast and cable and fit lightning protection; leave it alone in a thunderstorm.",
      "Local building codes and landlords have a say; mains and earthing are licensed work.",
  };
  return cautions;
}

std::string expect_json(const site::Expectation& of, const std::vector<double>& altitudes_ft,
                        double sector_deg) {
  Json out;
  out["method"] = of.limit().method();
  out["antenna_m"] = rounded(of.viewpoint().antenna().height_m(), 1);
  out["sea_level_hpa"] = of.settings().sea_level_hpa;
  out["feeder_db"] = rounded(of.settings().link.feeder.loss_db(), 2);
  out["altitudes"] = Json::array();
  for (const double altitude_ft : altitudes_ft) {
    const auto at = of.altitude(altitude_ft);
    out["altitudes"].push_back(
        {{"altitude_ft", altitude_ft},
         {"horizon_km", rounded(at.horizon_km, 1)},
         {"horizon_effective_km", rounded(at.horizon_effective_km, 1)},
         {"horizon_ray_km", rounded(at.horizon_ray_km, 1)},
         {"horizon_geometric_km", rounded(at.horizon_straight_km, 1)},
         {"link_km", rounded(at.link_km, 1)},
         {"expected_km", rounded(at.expected_km, 1)},
         {"limited_by", site::name_of(at.cause)},
         {"median_db_margin_at_horizon", rounded(at.margin_at_horizon_db, 1)}});
  }
  out["bearings"] = Json::array();
  for (double bearing_deg = sector_deg / 2; bearing_deg < 360; bearing_deg += sector_deg) {
    Json bearing;
    bearing["bearing_deg"] = bearing_deg;
    bearing["mask_deg"] = or_null(of.mask_deg(bearing_deg), 2);
    bearing["expected_km_by_altitude"] = Json::array();
    bearing["limited_by_altitude"] = Json::array();
    for (const double altitude_ft : altitudes_ft) {
      const auto expected = of.expected(bearing_deg, altitude_ft);
      bearing["expected_km_by_altitude"].push_back(rounded(expected.range_km, 1));
      bearing["limited_by_altitude"].push_back(site::name_of(expected.cause));
    }
    out["bearings"].push_back(std::move(bearing));
  }
  out["help"] = Json::array();
  for (const auto& help : of.help(altitudes_ft)) {
    Json gains = Json::array();
    for (const double gain_km : help.gain_km) gains.push_back(rounded(gain_km, 1));
    out["help"].push_back({{"what", help.what}, {"gain_km_by_altitude", std::move(gains)}});
  }
  out["warnings"] = of.warnings();
  out["cautions"] = mounting_cautions();
  return out.dump();
}

}  // namespace roundel::present
