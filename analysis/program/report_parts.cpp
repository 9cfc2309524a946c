#include "analysis/program/report_parts.h"

#include <fmt/format.h>

#include "analysis/program/selection.h"
#include "roundel/present/compare.h"
#include "roundel/present/drift.h"
#include "roundel/present/expect.h"
#include "roundel/present/units.h"
#include "roundel/site/expect.h"
#include "roundel/trial/compare.h"
#include "roundel/trial/drift.h"

namespace roundel::program {

Result<present::ReportPart> comparison_part(const schema::Store& store,
                                            const schema::Selection& which,
                                            std::string_view against, double sector_deg,
                                            double confidence) {
  const auto other = parse_selection(against, "--against");
  if (!other) return tl::unexpected(other.error());
  trial::CompareOptions options;
  options.sector_deg = sector_deg;
  options.confidence = confidence;
  const auto result = trial::compare(store, which, *other, options);
  if (!result) return tl::unexpected(result.error());
  present::ReportPart part;
  part.heading = fmt::format("{} against {}", result->name_a, result->name_b);
  part.paragraphs.push_back(present::compare_sentence(*result));
  part.paragraphs.push_back(fmt::format(
      "{}: {} flights in {:.1f} hours; {}: {} flights in {:.1f} hours; method: {}.", result->name_a,
      present::grouped(result->flights_a), result->hours_a, result->name_b,
      present::grouped(result->flights_b), result->hours_b, name_of(result->method)));
  const auto& f = result->first_last;
  if (const auto n = f.a_first + f.b_first + f.same_first; n > 0)
    part.paragraphs.push_back(fmt::format(
        "Of {} flights that both heard, {} was first to hear {} and {} first to hear {}.",
        present::grouped(n), result->name_a, present::grouped(f.a_first), result->name_b,
        present::grouped(f.b_first)));
  if (const auto& offset = result->swapped_offset)
    part.paragraphs.push_back(fmt::format(
        "What was swapped half-way differs by {:+.1f} dB ({:+.1f} to {:+.1f}), which is "
        "taken out.",
        offset->value_db, offset->low_db, offset->high_db));
  for (const auto& one : result->confounded)
    part.paragraphs.push_back(
        fmt::format("Confounded: {}. To resolve it: {}.", one.what, one.remedy));
  part.figures.push_back(present::compare_svg(*result, present::Form::figure));
  return part;
}

Result<present::ReportPart> drift_part(const schema::Store& store, const schema::Selection& which) {
  present::ReportPart part;
  part.heading = "Has it changed over time?";
  const auto drift = trial::drift(store, which);
  if (!drift && drift.error().code != Errc::too_little) return tl::unexpected(drift.error());
  if (!drift) {
    part.paragraphs.push_back("Too little has been heard to tell: " + drift.error().what + ".");
    return part;
  }
  part.paragraphs.push_back(present::drift_sentence(*drift));
  if (drift->days.size() > 1)
    part.figures.push_back(present::drift_svg(*drift, present::Form::figure));
  return part;
}

Result<present::ReportPart> expectation_part(const schema::SiteRow& site,
                                             const site::ExpectSettings& settings,
                                             present::Units units) {
  const auto of = site::Expectation::make(site, settings);
  if (!of) return tl::unexpected(of.error());
  const std::vector<double> altitudes_ft = pattern::ReachOptions{}.limit_altitudes_ft;
  present::ReportPart part;
  part.heading = "What range to expect";
  std::string ranges;
  for (const double altitude_ft : altitudes_ft) {
    const auto at = of->altitude(altitude_ft);
    ranges += fmt::format("{}{} for aircraft at {} (limit: {})", ranges.empty() ? "" : "; ",
                          present::range_text(units, at.expected_km),
                          present::altitude_text(units, altitude_ft), site::name_of(at.cause));
  }
  const site::Link& link = settings.link;
  part.paragraphs.push_back(fmt::format("Mean over bearings: {}.", ranges));
  part.paragraphs.push_back(fmt::format(
      "Worked out from {}, and a link of {:g} dBm at the aircraft, {} half-wave dipole{}, {:.1f} "
      "dB "
      "in the feeder and a threshold of {:g} dBm: its median, so that half of all aircraft and "
      "hours do better.",
      of->limit().method(), link.power_dbm, link.elements, link.elements == 1 ? "" : "s",
      link.feeder.loss_db(), link.threshold_dbm));
  for (const std::string& warning : of->warnings()) part.paragraphs.push_back(warning);
  part.figures.push_back(
      present::expect_svg(*of, altitudes_ft, 5, units, "", present::Form::figure));
  return part;
}

}  // namespace roundel::program
