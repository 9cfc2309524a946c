#include <fmt/format.h>

#include "analysis/present/json.h"
#include "roundel/present/mast.h"
#include "roundel/present/units.h"

namespace roundel::present {
namespace {

constexpr double feeder_radius_mm = 8;

Json estimate(const trial::MastFit::Estimate& of) {
  return {
      {"value", rounded(of.value, 1)}, {"low", rounded(of.low, 1)}, {"high", rounded(of.high, 1)}};
}

std::string mast_text(const trial::MastFit& fit) {
  const auto& b = fit.bearing_deg;
  return fmt::format(
      "{} of {:.0f} mm diameter ({:.0f} to {:.0f}), its axis {:.0f} mm ({:.0f} to {:.0f}) from the "
      "antenna's towards {} degrees ({} to {})",
      fit.radius_mm.value < feeder_radius_mm ? "a feeder or thin pole" : "a mast",
      2 * fit.radius_mm.value, 2 * fit.radius_mm.low, 2 * fit.radius_mm.high, fit.spacing_mm.value,
      fit.spacing_mm.low, fit.spacing_mm.high, bearing_text(b.value), bearing_text(b.low + 360),
      bearing_text(b.high + 360));
}

}  // namespace

std::string mast_sentence(const trial::MastFit& fit) {
  switch (fit.answer) {
    case trial::MastAnswer::explains:
      return fmt::format(
          "A mast explains the pattern: {} makes {:.1f} dB of ripple and {:.0f}% of "
          "the pattern's variance.",
          mast_text(fit), fit.ripple_db, 100 * fit.explains);
    case trial::MastAnswer::fails:
      return fmt::format(
          "No mast explains the pattern: the best accounts for {:.0f}% of its variance only.",
          100 * fit.explains);
    case trial::MastAnswer::flat:
      break;
  }
  return "There is nothing for a mast to explain: the pattern is flat within its errors.";
}

std::string mast_json(const trial::MastFit& fit) {
  Json out;
  const bool is_fitted = !fit.gain_db.empty();
  out["radius_mm"] = is_fitted ? estimate(fit.radius_mm) : Json(nullptr);
  out["spacing_mm"] = is_fitted ? estimate(fit.spacing_mm) : Json(nullptr);
  out["bearing_deg"] = is_fitted ? estimate(fit.bearing_deg) : Json(nullptr);
  out["ripple_db"] = rounded(fit.ripple_db, 3);
  out["explains"] = rounded(fit.explains, 3);
  out["plausible"] = fit.answer == trial::MastAnswer::explains;
  out["answer"] = name_of(fit.answer);
  out["sentence"] = mast_sentence(fit);
  out["pattern"] = Json::array();
  const double step_deg = 360 / static_cast<double>(std::max<std::size_t>(1, fit.gain_db.size()));
  for (std::size_t s = 0; s < fit.gain_db.size(); ++s)
    out["pattern"].push_back({{"bearing_deg", step_deg * (static_cast<double>(s) + 0.5)},
                              {"gain_db", rounded(fit.gain_db[s], 3)}});
  return out.dump(2);
}

}  // namespace roundel::present
