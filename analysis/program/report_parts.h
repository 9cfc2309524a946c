// The report's sections that rest on more than reach and verdict.
#pragma once
#include <string_view>

#include "roundel/present/report.h"
#include "roundel/schema/store.h"
#include "roundel/site/expect_settings.h"

namespace roundel::program {

/// The report's selection (a) against another (b), given as one word of pairs. Errors as of
/// trial::compare() and parse_selection().
Result<present::ReportPart> comparison_part(const schema::Store& store,
                                            const schema::Selection& which,
                                            std::string_view against, double sector_deg,
                                            double confidence);

/// What changed with time. Too few data is no error: the section says so. Others as of
/// trial::drift().
Result<present::ReportPart> drift_part(const schema::Store& store, const schema::Selection& which);

/// What the site lets expect, and what limits it.
Result<present::ReportPart> expectation_part(const schema::SiteRow& site,
                                             const site::ExpectSettings& settings,
                                             present::Units units);

}  // namespace roundel::program
