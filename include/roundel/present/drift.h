// Drift as a sentence and as JSON.
#pragma once
#include <string>

#include "roundel/present/polar_plot.h"
#include "roundel/trial/drift.h"

namespace roundel::present {

/// What changed, when and by how much; or that nothing did.
std::string drift_sentence(const trial::Drift& drift);

/// The object of the interface: days[] {date, index_db, low_db, high_db, flights}, changes[] {time,
/// step_db, low_db, high_db, bearings: "all" | [..], probability, earliest, latest, kind: "gain" |
/// "loss" | "obstacle" | "clearing"}, notes[] {time, text}, sentence, flights.
std::string drift_json(const trial::Drift& drift);

/// The index day by day with its intervals, and the changes.
std::string drift_svg(const trial::Drift& drift, Form form = Form::document);

}  // namespace roundel::present
