// A comparison as a sentence and as JSON.
#pragma once
#include <string>

#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"
#include "roundel/trial/compare.h"

namespace roundel::present {

/// Who hears more overall, by how much, and on which bearings the other is better.
std::string compare_sentence(const trial::Comparison& comparison);

/// The object of the interface: difference_db {value, low, high} (a minus b; null where unknown),
/// sectors[] {bearing_deg, difference_db, low_db, high_db, significant, p, flights, reach_a_km,
/// reach_b_km, half_rate_a_km, half_rate_b_km}, paired, method, verdict, sentence, confounded[]
/// (sentences, each with its remedy), factor, a, b, first_last, swapped_offset_db, flights, hours.
std::string compare_json(const trial::Comparison& comparison);

/// Polar plot of the difference by bearing, a minus b, with its band; sectors in which one is
/// surely better are marked.
std::string compare_svg(const trial::Comparison& comparison, Form form = Form::document);

}  // namespace roundel::present
