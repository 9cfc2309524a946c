// A mast fitted to a pattern, as a sentence and as JSON.
#pragma once
#include <string>

#include "roundel/trial/mast_fit.h"

namespace roundel::present {

/// Whether a mast explains the pattern, and which: radius, spacing, bearing with their intervals.
std::string mast_sentence(const trial::MastFit& fit);

/// The object of the interface: radius_mm, spacing_mm, bearing_deg, each {value, low, high},
/// ripple_db, explains, plausible, answer, sentence, pattern[] {bearing_deg, gain_db}.
std::string mast_json(const trial::MastFit& fit);

}  // namespace roundel::present
