#include "analysis/present/json.h"
#include "roundel/pattern/share.h"
#include "roundel/present/verdict.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

Json times(const std::vector<std::int64_t>& all) {
  Json out = Json::array();
  for (std::int64_t time_s : all) out.push_back(format_time(static_cast<double>(time_s)));
  return out;
}

Json method(const pattern::MethodReport& report) {
  Json out;
  out["used"] = report.used;
  out["sectors"] = report.sectors;
  out["rms_error_db"] = report.sectors > 0 ? Json(rounded(report.rms_error_db, 3)) : nullptr;
  out["remark"] = report.remark;
  return out;
}

}  // namespace

std::string verdict_json(const pattern::Verdict& verdict, const std::vector<schema::Id>& trials) {
  Json out;
  const bool has_curve = verdict.curve.n() > 0;
  out["verdict"] = name_of(verdict.answer);
  out["sentence"] = verdict_sentence(verdict);
  out["confidence"] = verdict.options.confidence;
  out["tolerance_db"] = verdict.options.tolerance_db;
  if (has_curve)
    out["ripple_db"] = {{"value", rounded(verdict.ripple.value_db, 2)},
                        {"low", rounded(verdict.ripple.low_db, 2)},
                        {"high", rounded(verdict.ripple.high_db, 2)},
                        {"certain_low", rounded(verdict.ripple.certain_low_db, 2)},
                        {"certain_high", rounded(verdict.ripple.certain_high_db, 2)}};
  else
    out["ripple_db"] = nullptr;
  out["sectors"] = Json::array();
  for (const auto& sector : verdict.sectors) {
    Json one;
    one["bearing_deg"] = sector.bearing_deg;
    one["gain_db"] = or_null(sector.gain_db, 3);
    one["gain_low_db"] = or_null(sector.low_db, 3);
    one["gain_high_db"] = or_null(sector.high_db, 3);
    one["state"] = name_of(sector.state);
    one["cutoff_deg"] = or_null(sector.cutoff_deg, 2);
    one["cutoff_low_deg"] = or_null(sector.cutoff_low_deg, 2);
    one["cutoff_high_deg"] = or_null(sector.cutoff_high_deg, 2);
    one["reach_km"] = or_null(sector.reach_km, 3);
    one["horizon_km"] = or_null(sector.horizon_km, 3);
    one["flights"] = sector.flights;
    one["cells"] = sector.cells;
    const auto far =
        pattern::wilson(sector.far_heard, sector.far_flights, verdict.options.confidence);
    one["near_horizon"] = {{"flights", sector.far_flights},
                           {"heard", sector.far_heard},
                           {"share_low", rounded(far.low, 3)},
                           {"share_high", rounded(far.high, 3)}};
    out["sectors"].push_back(std::move(one));
  }
  out["harmonics"] = Json::array();
  for (const auto& harmonic : verdict.harmonics)
    out["harmonics"].push_back({{"order", harmonic.order},
                                {"amplitude_db", rounded(harmonic.amplitude_db, 3)},
                                {"low_db", rounded(harmonic.low_db, 3)},
                                {"high_db", rounded(harmonic.high_db, 3)},
                                {"phase_deg", rounded(harmonic.phase_deg, 1)}});
  out["methods"]["rate"] = method(verdict.rate);
  out["methods"]["rate"]["softness_db"] = rounded(verdict.softness_db, 3);
  out["methods"]["rate"]["ceiling"] = rounded(verdict.ceiling, 4);
  out["methods"]["rate"]["flight_spread_db"] = rounded(verdict.sigma_flight_db, 2);
  out["methods"]["rate"]["messages_per_chance"] = rounded(verdict.throttle.messages_per_chance, 2);
  out["methods"]["strength"] = method(verdict.strength);
  out["methods"]["agreement_p"] =
      verdict.strength.used ? Json(rounded(verdict.conflict_p, 4)) : nullptr;
  out["advice"] = verdict_advice(verdict);
  out["elevation"] = Json::array();
  for (const auto& one : verdict.elevation)
    out["elevation"].push_back({{"elevation_deg", rounded(one.elevation_deg, 2)},
                                {"gain_db", rounded(one.gain_db, 2)},
                                {"low_db", rounded(one.low_db, 2)},
                                {"high_db", rounded(one.high_db, 2)},
                                {"flights", one.flights}});
  out["lean"] = verdict.lean ? Json{{"lean_deg", rounded(verdict.lean->lean_deg, 2)},
                                    {"low_deg", rounded(verdict.lean->low_deg, 2)},
                                    {"high_deg", rounded(verdict.lean->high_deg, 2)},
                                    {"towards_deg", rounded(verdict.lean->towards_deg, 0)}}
                             : Json(nullptr);
  out["misfit_db"] = rounded(verdict.misfit_db, 2);
  Json missing;
  missing["bearings"] = Json::array();
  for (const auto& run : verdict.missing.bearings)
    missing["bearings"].push_back({{"from_deg", run.from_deg}, {"to_deg", run.to_deg}});
  missing["hours"] = or_null(verdict.missing.hours, 1);
  missing["precision"] = verdict.missing.is_precision;
  out["missing"] = verdict.answer == pattern::Answer::undecided ? missing : Json(nullptr);
  out["hours_off"] = times(verdict.hours_off);
  out["hours_ducting"] = times(verdict.hours_ducting);
  out["flights"] = verdict.flights;
  out["cells"] = verdict.cells;
  out["silent_cells"] = verdict.silent_cells;
  out["trials"] = trials;
  out["from"] = time_or_null(verdict.from_s);
  out["to"] = time_or_null(verdict.to_s);
  return out.dump(2);
}

}  // namespace roundel::present
