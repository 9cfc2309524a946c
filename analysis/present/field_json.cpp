#include "analysis/present/json.h"
#include "roundel/present/field.h"

namespace roundel::present {

std::string field_json(const pattern::Field& field) {
  Json bins = Json::array();
  for (const auto& bin : field.bins)
    bins.push_back({{"bearing_deg", bin.bearing_deg},
                    {"range_km", bin.range_km},
                    {"heard", bin.heard},
                    {"expected", bin.expected}});
  return Json{{"sector_deg", field.sector_deg},
              {"range_step_km", pattern::field_step_km},
              {"bins", std::move(bins)}}
      .dump();
}

}  // namespace roundel::present
