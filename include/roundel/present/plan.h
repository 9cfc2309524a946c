// A plan for a comparison as a sentence and as JSON.
#pragma once
#include <string>

#include "roundel/trial/plan.h"

namespace roundel::present {

/// The precision to expect.
std::string plan_sentence(const trial::ComparePlan& plan);

/// {days, both_at_once, steps[] {from_day, to_day, mountings[] {antenna, receiver, mount}},
/// half_width_db, sector_half_width_db, sectors, hours_seen, flights_seen, sentence}.
std::string plan_json(const trial::ComparePlan& plan);

}  // namespace roundel::present
