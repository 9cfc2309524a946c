// What a verdict says of gain against elevation.
#pragma once
#include <vector>

#include "roundel/pattern/verdict.h"

namespace roundel::pattern {

/// The middle value, the upper of two; of none, 0.
double median(std::vector<double> values);

/// Gain against elevation: what the rate's rows show beyond the model, flight by flight.
/// @param least_flights  of a bin that is shown
std::vector<Verdict::ElevationGain> elevation_pattern(const Exposure& exposure,
                                                      const LevelFit& rate,
                                                      const Throttle& throttle,
                                                      const Screen& screen, int least_flights);

}  // namespace roundel::pattern
