#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "roundel/present/verdict.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

using pattern::Answer;
using pattern::State;

std::vector<bool> in_state(const pattern::Verdict& verdict, State state) {
  std::vector<bool> out;
  for (const auto& sector : verdict.sectors) out.push_back(sector.state == state);
  return out;
}

std::vector<bool> without_gain(const pattern::Verdict& verdict) {
  std::vector<bool> out;
  for (const auto& sector : verdict.sectors) out.push_back(!sector.gain_db);
  return out;
}

std::string hours_text(double hours) {
  if (hours < 1) return "an hour";
  if (hours < 48) return fmt::format("{:.0f} hours", std::ceil(hours));
  if (hours < 24 * 60) return fmt::format("{:.0f} days", std::ceil(hours / 24));
  return "months";
}

// "4.1 degrees", or "2.9 to 4.4 degrees" over the sectors behind a wall.
std::string cutoff_text(const pattern::Verdict& verdict) {
  double low = 90, high = -90;
  for (const auto& sector : verdict.sectors) {
    if (!sector.cutoff_deg) continue;
    low = std::min(low, *sector.cutoff_deg);
    high = std::max(high, *sector.cutoff_deg);
  }
  if (high - low < 0.25) return fmt::format("{:.1f} degrees", (high + low) / 2);
  return fmt::format("{:.1f} to {:.1f} degrees", low, high);
}

std::string ripple_text(const pattern::Verdict& verdict) {
  return fmt::format("{:.1f} dB peak to peak ({:.0f}% interval {:.1f} to {:.1f})",
                     verdict.ripple.value_db, 100 * verdict.options.confidence,
                     verdict.ripple.low_db, verdict.ripple.high_db);
}

std::string extreme_text(const pattern::Verdict& verdict) {
  const pattern::SectorVerdict* weakest = nullptr;
  const pattern::SectorVerdict* strongest = nullptr;
  for (const auto& sector : verdict.sectors) {
    if (!sector.gain_db) continue;
    if (!weakest || *sector.gain_db < *weakest->gain_db) weakest = &sector;
    if (!strongest || *sector.gain_db > *strongest->gain_db) strongest = &sector;
  }
  if (!weakest) return "";
  return fmt::format(", strongest towards {} and weakest towards {} degrees",
                     bearing_text(strongest->bearing_deg), bearing_text(weakest->bearing_deg));
}

std::string site_text(const pattern::Verdict& verdict) {
  const auto walled = in_state(verdict, State::obstructed);
  if (std::find(walled.begin(), walled.end(), true) == walled.end()) return "";
  return fmt::format(
      " The site, not the antenna, hides what stands below {} on {}; there the antenna is judged "
      "from traffic above that.",
      cutoff_text(verdict), bearing_ranges(walled));
}

std::string missing_text(const pattern::Verdict& verdict) {
  const auto& missing = verdict.missing;
  std::string out;
  if (missing.is_precision) {
    out = fmt::format(" All bearings were seen; the band is still too wide for {:.1f} dB.",
                      verdict.options.tolerance_db);
  } else if (verdict.sectors.empty() || verdict.flights == 0) {
    return " Nothing has been recorded yet.";
  } else {
    out = fmt::format(" Too little traffic was heard well enough on {} to know the gain there.",
                      bearing_ranges(without_gain(verdict)));
  }
  if (missing.hours)
    out += fmt::format(" At the traffic seen so far that takes about {} more.",
                       hours_text(*missing.hours));
  else if (verdict.flights > 0)
    out += " Some of these bearings had no traffic at all: no time can be named.";
  return out;
}

}  // namespace

std::string verdict_sentence(const pattern::Verdict& verdict) {
  std::string out;
  switch (verdict.answer) {
    case Answer::omnidirectional:
      out = fmt::format("The antenna is omnidirectional within {:.1f} dB: its ripple is {}.",
                        verdict.options.tolerance_db, ripple_text(verdict));
      break;
    case Answer::not_omnidirectional:
      out = fmt::format("The antenna is not omnidirectional within {:.1f} dB: its ripple is {}{}.",
                        verdict.options.tolerance_db, ripple_text(verdict), extreme_text(verdict));
      break;
    case Answer::undecided:
      out = "Undecided whether the antenna is omnidirectional.";
      if (verdict.curve.n() > 0)
        out +=
            fmt::format(" So far its ripple is {} on the bearings judged.", ripple_text(verdict));
      break;
  }
  out += site_text(verdict);
  if (verdict.answer == Answer::undecided) out += missing_text(verdict);
  return out;
}

std::string difference_of_methods(const pattern::Verdict& verdict) {
  const std::string chance =
      verdict.conflict_p < 0.01
          ? "more than chance explains (p < 0.01), so take differences of that size with care"
          : fmt::format(
                "by chance alone they would differ by as much or more in {:.0f} of 100 such "
                "cases",
                100 * verdict.conflict_p);
  return fmt::format(
      "the patterns of levels and counts differ by {:.1f} dB (root mean square over bearings): {}",
      verdict.conflict_db, chance);
}

std::vector<std::string> verdict_advice(const pattern::Verdict& verdict) {
  std::vector<std::string> out;
  bool touches_mounting = false;
  const auto walled = in_state(verdict, State::obstructed);
  if (std::find(walled.begin(), walled.end(), true) != walled.end()) {
    out.push_back(fmt::format(
        "Raise or move the antenna to see over what hides {}: nothing is heard below {} there at "
        "any range, which no antenna mends.",
        bearing_ranges(walled), cutoff_text(verdict)));
    touches_mounting = true;
  }
  if (verdict.answer == Answer::not_omnidirectional) {
    const auto strongest = std::max_element(
        verdict.harmonics.begin(), verdict.harmonics.end(),
        [](const auto& a, const auto& b) { return a.amplitude_db < b.amplitude_db; });
    if (strongest != verdict.harmonics.end() && strongest->low_db > 0) {
      if (strongest->order == 1)
        out.push_back(fmt::format(
            "Look for a mast, feeder or pole beside the antenna: the pattern leans to one side "
            "({:.1f} dB towards {} degrees), as a conductor parallel to it makes it.",
            strongest->amplitude_db, bearing_text(strongest->phase_deg)));
      else if (strongest->order == 2)
        out.push_back(fmt::format(
            "Check that the elements are straight and upright, and look for two conductors on "
            "opposite sides: the pattern repeats every 180 degrees ({:.1f} dB).",
            strongest->amplitude_db));
      else
        out.push_back(fmt::format(
            "Look for conductors a wavelength (275 mm) or more away, or a narrow obstruction: the "
            "pattern varies {} times around ({:.1f} dB).",
            strongest->order, strongest->amplitude_db));
      out.push_back(
          "To tell antenna from mount, turn the antenna by 90 degrees for a day and record it as a "
          "trial of its own: what turns with it is the antenna's.");
      touches_mounting = true;
    }
  }
  if (verdict.answer == Answer::undecided && verdict.flights > 0)
    out.push_back(
        verdict.missing.hours
            ? fmt::format("Wait: about {} more at the traffic seen so far, nothing to be done "
                          "meanwhile.",
                          hours_text(*verdict.missing.hours))
            : std::string("Bearings without traffic cannot be judged by waiting; judge them by "
                          "turning the antenna, so that other parts of it look where aircraft "
                          "fly."));
  if (verdict.throttle.is_throttled())
    out.push_back(
        fmt::format("Let the feed print every report if it can: it prints about one line per "
                    "aircraft in {:.1f} "
                    "s, which costs precision near in.",
                    0.5 * verdict.throttle.messages_per_chance));
  if (!verdict.hours_off.empty())
    out.push_back(fmt::format(
        "{} hour(s) were left out, the first {}: hardly anything was heard then, so the receiver "
        "was off or deaf.",
        verdict.hours_off.size(), format_time(static_cast<double>(verdict.hours_off.front()))));
  if (!verdict.hours_ducting.empty())
    out.push_back(fmt::format(
        "{} hour(s) were left out, the first {}: many reports came from beyond the horizon "
        "(ducting, or bad positions).",
        verdict.hours_ducting.size(),
        format_time(static_cast<double>(verdict.hours_ducting.front()))));
  if (!verdict.strength.remark.empty() && verdict.strength.sectors > 0)
    out.push_back("Signal levels: " + verdict.strength.remark + ".");
  if (touches_mounting)
    out.push_back(
        "Before touching the installation: working at height, overhead power lines, lightning "
        "protection and earthing each have killed; follow local codes, and leave to licensed "
        "people what is theirs.");
  return out;
}

}  // namespace roundel::present
