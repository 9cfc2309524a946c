// The heard share by bearing and range, as JSON.
#pragma once
#include <string>

#include "roundel/pattern/field.h"

namespace roundel::present {

/// One object: sector_deg, range_step_km, bins[] {bearing_deg, range_km, heard, expected}, middles
/// of bins. Ends without a newline.
std::string field_json(const pattern::Field& field);

}  // namespace roundel::present
