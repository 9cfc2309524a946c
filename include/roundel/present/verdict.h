// The verdict as a sentence, as advice, as JSON, as a picture.
#pragma once
#include <string>
#include <vector>

#include "roundel/pattern/verdict.h"
#include "roundel/present/polar_plot.h"
#include "roundel/present/units.h"

namespace roundel::present {

/// The answer in words that can be said aloud: verdict, ripple with its interval, what is the
/// site's and what the antenna's, and what is missing where the data do not tell.
std::string verdict_sentence(const pattern::Verdict& verdict);

/// By how much the pattern of the levels differs from that of the counts, and whether chance
/// explains it; no sentence of its own. Where both were used.
std::string difference_of_methods(const pattern::Verdict& verdict);

/// What to do, each with its reason; with the usual cautions once where it means touching the
/// installation.
std::vector<std::string> verdict_advice(const pattern::Verdict& verdict);

/// The object of the interface, and besides: sectors[] cutoff_low_deg, cutoff_high_deg;
/// harmonics[] low_db, high_db; ripple.certain_low_db, certain_high_db; elevation[]; missing;
/// hours_off[], hours_ducting[]; flights, cells, silent_cells. Not known is null, never zero.
std::string verdict_json(const pattern::Verdict& verdict, const std::vector<schema::Id>& trials);

/// Polar plot of gain in dB with its band; states marked by pattern as well as by colour.
std::string verdict_svg(const pattern::Verdict& verdict, const std::string& about,
                        Form form = Form::document);

}  // namespace roundel::present
