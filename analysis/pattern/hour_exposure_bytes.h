// An hour's exposure as bytes, by the sectors of SummaryBins. About eleven bytes a group and forty
// a flight: 4 % of what its cells take.
#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/hour_exposure.h"
#include "roundel/result.h"
#include "roundel/schema/summary.h"

namespace roundel::pattern {

/// Path loss is kept to 0.01 dB, elevation to 0.01 degrees, bearing to 0.04, aspect and the share
/// of the horizon to 0.02 and 0.002, a mean level to 0.05 dB, places of a track to 10 m.
/// @pre sectors are those of SummaryBins
std::string exposure_bytes(const HourExposure& hour);

/// Of flights only the numbers are known. None: these are not such bytes.
/// @param hour_s  windows count from it
std::optional<HourExposure> exposure_of(std::string_view bytes, std::int64_t hour_s);

/// Of a summary. Errc::corrupt when the bytes are none that a summariser wrote.
Result<HourExposure> read_exposure(const schema::Summary& stored);

/// Says what flights they are; those that are not of the selection go.
void name_flights(HourExposure& hour, const FlightsById& flights);

}  // namespace roundel::pattern
