// Separations and masts.
#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "roundel/pattern/verdict.h"
#include "roundel/simulate/simulate.h"
#include "roundel/trial/mast_model.h"
#include "tests/simulation/drawn_site.h"
#include "tests/simulation/trial_scenarios.h"

namespace roundel::calibration {
namespace {

using simulate::Scenario;
using Complex = std::complex<double>;

Scenario site(std::uint64_t seed, double hours) {
  return drawn_site(seed, seed * 5903 + 29, hours);
}
double drawn_deg(std::uint64_t seed, std::uint64_t factor) {
  return static_cast<double>((seed * factor) % 360);
}

// Order n of a pattern by degree: amplitude and phase of n's wave.
Complex order_of(const std::array<double, 360>& by_deg, int n) {
  Complex out = 0;
  for (std::size_t d = 0; d < 360; ++d)
    out += by_deg[d] * std::polar(1.0, n * static_cast<double>(d) * std::numbers::pi / 180) / 180.0;
  return out;
}
Complex vector_of(const trial::PartHarmonic& one) {
  return std::polar(one.amplitude_db, one.order * one.phase_deg * std::numbers::pi / 180);
}

Scenario shaped(std::uint64_t seed, double hours) {
  Scenario s = site(seed, hours);
  s.antenna("collinear").harmonic(1, 2, drawn_deg(seed, 53)).harmonic(2, 1, drawn_deg(seed, 29));
  s.mount("gable").harmonic(1, 1.5, drawn_deg(seed, 97)).notch(drawn_deg(seed, 71), 50, 4);
  return s;
}

}  // namespace

const std::vector<SeparateCase>& separate_cases() {
  static const std::vector<SeparateCase> all{
      {"rotate-90", "one antenna of 2 dB on a mount of 1.5 dB, turned by 90 degrees, 16 h each",
       [](auto seed) {
         Scenario s = shaped(seed, 32);
         s.trial({"roof", "collinear", "", "gable", 0, 0, 16});
         s.trial({"roof", "collinear", "", "gable", 90, 16, 32});
         return s;
       }},
      {"receivers", "two antennas at once, receivers (2 dB apart) swapped after 12 h",
       [](auto seed) {
         Scenario s = shaped(seed, 24);
         s.antenna("spider").gain_db = 1;
         s.receiver("rx1").offset_db = 2;
         s.receiver("rx2");
         s.trial({"roof", "collinear", "rx1", "gable", 0, 0, 12});
         s.trial({"shed", "spider", "rx2", "gable", 0, 0, 12});
         s.trial({"roof", "spider", "rx1", "gable", 0, 12, 24});
         s.trial({"shed", "collinear", "rx2", "gable", 0, 12, 24});
         return s;
       }},
  };
  return all;
}

SeparateOutcome run(const SeparateCase& one, std::uint64_t seed) {
  const Scenario scenario = one.make(seed);
  const Simulated recorded = simulated(scenario, one.name);
  trial::SeparateBuilder builder(recorded.viewpoint, recorded.set.trials);
  recorded.add_to(builder);
  SeparateOutcome out;
  out.separation = builder.finish();
  bool is_turned = false;
  for (const auto& how : out.separation.arrangements)
    is_turned = is_turned || how.rotation_deg != 0;
  const auto check = [&](const trial::Part& part, const std::array<double, 360>& truth,
                         std::vector<double>& errors) {
    for (const auto& h : part.harmonics) {
      out.wrong += h.identified != (is_turned && h.order % 4 != 0);
      if (!h.identified) continue;
      const Complex wanted = order_of(truth, h.order);
      if (h.order == 1) errors.push_back(std::abs(vector_of(h) - wanted));
      ++out.intervals;
      out.holding += std::abs(wanted) >= h.low_db && std::abs(wanted) <= h.high_db;
    }
  };
  for (const auto& truth : recorded.set.truth.trials) {
    for (const auto& part : out.separation.antennas)
      if (part.name == truth.trial.antenna &&
          truth.trial.start_s == recorded.set.trials.front().start_s)
        check(part, truth.antenna_db, out.antenna_error_db);
    if (truth.trial.id == 1)
      check(out.separation.mounts.front(), truth.mount_db, out.mount_error_db);
  }
  if (out.separation.receivers.size() == 2) {
    const auto& receivers = out.separation.receivers;
    const double wanted_db = scenario.receivers[0].offset_db - scenario.receivers[1].offset_db;
    out.wrong += !receivers[0].offset.identified;
    if (receivers[0].offset.identified) {
      const double sign = receivers[0].name == scenario.receivers[0].name ? 1 : -1;
      out.receiver_error_db =
          sign * (receivers[0].offset.value_db - receivers[1].offset.value_db) - wanted_db;
      ++out.intervals;
      out.holding += sign * wanted_db / 2 >= receivers[0].offset.low_db &&
                     sign * wanted_db / 2 <= receivers[0].offset.high_db;
    }
  }
  return out;
}

const std::vector<MastCase>& mast_cases() {
  static const std::vector<MastCase> all{
      {"mast-0.3", "mast of 50 mm at 0.3 wavelengths (83 mm)", 0.3, 0},
      {"mast-0.5", "at 0.5 wavelengths (138 mm)", 0.5, 0},
      {"mast-0.7", "at 0.7 wavelengths (193 mm)", 0.7, 0},
      {"mast-1", "at 1 wavelength (275 mm)", 1, 0},
      {"mast-none", "no mast, flat", 0, 0},
      {"mast-notch", "no mast, a notch of 6 dB over 40 degrees", 0, 6},
  };
  return all;
}

MastOutcome run(const MastCase& one, std::uint64_t seed) {
  constexpr double radius_mm = 25;
  Scenario scenario = site(seed, 24);
  const double bearing_deg = drawn_deg(seed, 53);
  const double spacing_mm = one.spacing_wavelengths * trial::wavelength_mm;
  auto& antenna = scenario.antenna("antenna");
  if (spacing_mm > 0) antenna.mast(radius_mm, spacing_mm, bearing_deg);
  if (one.notch_db > 0) antenna.notch(bearing_deg, 40, one.notch_db);
  const Simulated recorded = simulated(scenario, one.name);
  pattern::ExposureBuilder builder(recorded.viewpoint, 5);
  recorded.add_to(builder);
  MastOutcome out;
  out.fit = trial::fit_mast(pattern::judge(builder.finish(), {}, {}).curve);
  if (spacing_mm == 0) return out;
  out.spacing_error = out.fit.spacing_mm.value / spacing_mm - 1;
  out.bearing_error_deg = std::remainder(out.fit.bearing_deg.value - bearing_deg, 360);
  const auto holds = [](const trial::MastFit::Estimate& of, double truth) {
    return truth >= of.low && truth <= of.high;
  };
  out.spacing_holds = holds(out.fit.spacing_mm, spacing_mm);
  out.radius_holds = holds(out.fit.radius_mm, radius_mm);
  out.bearing_holds = holds(out.fit.bearing_deg, out.fit.bearing_deg.value - out.bearing_error_deg);
  return out;
}

}  // namespace roundel::calibration
