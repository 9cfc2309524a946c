#include "tests/simulation/worlds.h"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>

#include "tests/simulation/drawn_site.h"

namespace roundel::calibration {
namespace {

using simulate::Scenario;

double drawn_deg(std::uint64_t seed) { return static_cast<double>((seed * 53) % 360); }

/// Turns what stands on bearings, so that no world rests on where it stands among the airways.
void turn(Scenario& s, double by_deg) {
  const auto turned = [&](auto& things) {
    for (auto& thing : things) {
      if (thing.to_deg - thing.from_deg >= 360) continue;
      thing.from_deg = std::fmod(thing.from_deg + by_deg, 360);
      thing.to_deg = std::fmod(thing.to_deg + by_deg, 360);
    }
  };
  turned(s.walls);
  turned(s.obstacles);
  turned(s.reflections);
  for (auto& feed : s.feeds) turned(feed.networks);
  for (auto& one : s.interferences) one.bearing_deg = std::fmod(one.bearing_deg + by_deg, 360);
  for (auto& mount : s.mounts)
    mount.lean_towards_deg = std::fmod(mount.lean_towards_deg + by_deg, 360);
}

template <class T>
const T& find(const std::vector<T>& list, std::string_view name, const char* kind) {
  std::string names;
  for (const T& one : list) {
    if (one.name == name) return one;
    names += " " + one.name;
  }
  fmt::print(stderr, "no {} \"{}\"; there are{}\n", kind, name, names);
  std::exit(2);
}

}  // namespace

const std::vector<World>& worlds() {
  static const std::vector<World> all{
      {"plain", "as a seed draws it: a dipole, one softness, free space", ""},
      {"levels", "levels in the feed", "receiver = [{ name = 'rx', has_level = true }]"},
      // Antennas.
      {"array-8", "collinear of 8 elements 0.75 wavelengths apart",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 8, "
       "spacing_wavelengths = 0.75, null_db = -30 } }]"},
      {"array-12", "collinear of 12, 0.42 apart",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 12, "
       "spacing_wavelengths = 0.42, null_db = -30 } }]"},
      {"array-6-down", "collinear of 6, 0.75 apart, its beam 3 degrees down",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 6, "
       "spacing_wavelengths = 0.75, tilt_deg = -3, null_db = -30 } }]"},
      {"lean-2", "collinear of 4, leaning by 2 degrees",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 4, null_db = -30 } "
       "}]\n"
       "mount = [{ name = 'm', lean_deg = 2, lean_towards_deg = 120 }]"},
      {"lean-2-array-8", "collinear of 8, 0.75 apart, leaning by 2 degrees",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 8, "
       "spacing_wavelengths = 0.75, null_db = -30 } }]\n"
       "mount = [{ name = 'm', lean_deg = 2, lean_towards_deg = 120 }]"},
      // Aircraft.
      {"two-antennas", "aircraft send by turns above and below, the upper weaker by 1 to 6 dB",
       "aircraft = { two_antennas_share = 0.9, upper_loss_db_per_deg = 1 }"},
      {"two-antennas-array-8", "those and an array of 8",
       "aircraft = { two_antennas_share = 0.9, upper_loss_db_per_deg = 1 }\n"
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 8, "
       "spacing_wavelengths = 0.75, null_db = -30 } }]"},
      {"half-rate", "15 % of aircraft at half the rate", "aircraft = { half_rate_share = 0.15 }"},
      {"weak-tail", "8 % of aircraft weaker by 6 dB on average, some by far more",
       "aircraft = { weak_share = 0.08 }"},
      {"aspect", "aircraft that favour nose, tail and lobes of third order by dBs",
       "aircraft_type = [{ name = 'a', share = 0.5, nose_db = 1.5, side_db = 1, lobe_db = 1.5 },\n"
       "{ name = 'b', share = 0.5, nose_db = -1, side_db = 1.5, lobe_db = -1, belly_db = 3 },\n"
       "{ name = 'c', is_light = true, power_db = -3, side_db = 1, lobe_db = 1 }]"},
      {"fleets", "fleets that differ by bearing: two airways of strong aircraft, two of weak",
       "aircraft_type = [{ name = 'usual', share = 1 }, { name = 'strong', share = 0, power_db = 2 "
       "},\n"
       "{ name = 'weak', share = 0, power_db = -3 }, { name = 'l', is_light = true, power_db = -3 "
       "}]\n"
       "traffic = { airway = [{ from_deg = 20, to_deg = 210, share = 0.2, type = 'strong' }, "
       "{ from_deg = 50, to_deg = 260, share = 0.15, type = 'strong' }, "
       "{ from_deg = 110, to_deg = 300, share = 0.2, type = 'weak' }, "
       "{ from_deg = 150, to_deg = 340, share = 0.15, type = 'weak' }] }"},
      // Receiver.
      {"normal", "threshold of normal shape", "reception = { threshold = 'normal' }"},
      {"skewed", "threshold sharp below and slow above", "reception = { threshold = 'skewed' }"},
      {"tailed", "threshold with long tails", "reception = { threshold = 'tailed' }"},
      {"deaf-80", "receiver of -80 dBm",
       "receiver = [{ name = 'rx', has_level = false, sensitivity_dbm = -80 }]"},
      {"good-93", "receiver of -93 dBm: nearly all is heard to the horizon",
       "receiver = [{ name = 'rx', has_level = false, sensitivity_dbm = -93 }]"},
      {"capture", "weak messages lost more than strong",
       "reception = { capture = 0.8, message_loss = 0.2 }"},
      {"ceiling", "a ceiling that moves with the hour",
       "reception = { message_loss = 0.2, message_loss_spread = 0.5 }"},
      {"swing", "sensitivity swings by 2 dB to either side over the day",
       "receiver = [{ name = 'rx', has_level = false, swing_db = 2 }]"},
      {"gain-control", "2 dB less for each doubling of the traffic",
       "receiver = [{ name = 'rx', has_level = false, gain_control_db = 2 }]"},
      {"near-deaf", "overload: deaf to levels 20 dB over the threshold",
       "receiver = [{ name = 'rx', has_level = false, deaf_above_db = 20 }]"},
      {"bursts", "noise for 5 s at a time, a tenth of the time",
       "receiver = [{ name = 'rx', has_level = false, burst_share = 0.1 }]"},
      {"pairs", "first contact only after an even and an odd position",
       "receiver = [{ name = 'rx', has_level = false, pair_s = 10 }]"},
      // Site.
      {"sea", "sea or flat ground that reflects, over 100 degrees of bearing",
       "reflection = [{ from_deg = 0, to_deg = 100, height_m = 12 }]"},
      {"field", "a rough field 6 m below, over 140 degrees of bearing",
       "reflection = [{ from_deg = 0, to_deg = 140, height_m = 6, roughness_m = 0.4, "
       "coefficient = 0.6 }]"},
      {"wall", "wall of 4 degrees over 85 degrees of bearing",
       "wall = [{ from_deg = 0, to_deg = 85, elevation_deg = 4 }]"},
      {"ragged-wall", "wall in two parts, soft and ending anywhere",
       "wall = [{ from_deg = 2.3, to_deg = 42.3, elevation_deg = 3.5, soft_deg = 0.25 },\n"
       "{ from_deg = 42.3, to_deg = 87.3, elevation_deg = 4.2, soft_deg = 0.25 }]"},
      {"slow-fading", "fading of 3 dB over 5 minutes",
       "reception = { shadow_sd_db = 3, own_shadow_sd_db = 1.5, shadow_s = 300 }"},
      {"earth-5-4", "5/4 Earth", "reception = { earth_factor = 1.25 }"},
      {"earth-3-2", "3/2 Earth", "reception = { earth_factor = 1.5 }"},
      {"ducting", "six hours of ducting",
       "duct = [{ from_h = 4, to_h = 7 }, { from_h = 18, to_h = 21, from_deg = 30, to_deg = 150 "
       "}]"},
      // Traffic.
      {"thin", "3 aircraft on average", "traffic = { mean_aircraft = 3 }"},
      {"airport", "arrivals and departures of one airport",
       "traffic = { crossing_share = 0.02, light_share = 0.03, airport = [{ bearing_deg = 70, "
       "range_km = 50 }] }"},
      {"airways", "four airways and nearly nothing else",
       "traffic = { crossing_share = 0.05, light_share = 0.02, airway = [{ from_deg = 20, "
       "to_deg = 210 }, { from_deg = 80, to_deg = 265 }, { from_deg = 130, to_deg = 320 }, "
       "{ from_deg = 350, to_deg = 165 }] }"},
      {"coast", "an ocean without traffic on one half",
       "traffic = { empty = [{ from_deg = 170, to_deg = 340, keep = 0.02 }] }"},
      {"empty-west", "no traffic from 240 to 300 degrees",
       "traffic = { empty = [{ from_deg = 240, to_deg = 300, keep = 0 }] }"},
      {"hour", "one hour about noon", "start = '2026-03-01T12:00:00Z'\nhours = 1"},
      // Feed.
      {"throttled", "at most one line a second", "feed = [{ name = 'roof', throttled = true }]"},
      {"three-decimals", "positions to 0.001 degrees",
       "feed = [{ name = 'roof', position_decimals = 3 }]"},
      {"repeats", "the last position printed again, 40 % of lines",
       "feed = [{ name = 'roof', repeat_share = 0.4 }]"},
      {"extrapolated", "positions carried on for up to 30 s, more lines than are sent",
       "feed = [{ name = 'roof', extrapolate_s = 30 }]"},
      {"coarse-times", "times to whole seconds", "feed = [{ name = 'roof', time_step_s = 1 }]"},
      {"polled", "documents read every 5 s, with ages", "feed = [{ name = 'roof', poll_s = 5 }]"},
      {"jitter", "positions err by 100 m", "feed = [{ name = 'roof', jitter_m = 100 }]"},
      {"network", "positions that a network computed, on one side",
       "feed = [{ name = 'roof', network = [{ from_deg = 200, to_deg = 260 }] }]"},
      {"clock-steps", "a clock that is set twice",
       "feed = [{ name = 'roof', clock_step = [{ at_h = 6.3, step_s = 3 }, "
       "{ at_h = 15.1, step_s = -2 }] }]"},
      {"spoofed", "false positions over a circle for six hours",
       "interference = [{ from_h = 8, to_h = 14, bearing_deg = 130 }]"},
      {"silenced", "no positions over a circle for six hours",
       "interference = [{ kind = 'silent', from_h = 8, to_h = 14, bearing_deg = 130 }]"},
      {"busy-site", "airways, orbit, ducting, outages, ghosts, wild positions",
       "traffic = { airway = [{ from_deg = 20, to_deg = 210, share = 0.4 }, "
       "{ from_deg = 100, to_deg = 300, share = 0.3 }], orbit = [{ share = 0.05 }] }\n"
       "duct = [{ from_h = 18, to_h = 20 }]\n"
       "feed = [{ name = 'roof', ghost_share = 0.001, wild_share = 0.001, "
       "outage = [{ from_h = 5, to_h = 5.4 }, { from_h = 13, to_h = 14.2 }] }]"},
      {"everything",
       "array of 8, two antennas by turns, weak and half-rate aircraft, skewed threshold, capture, "
       "moving ceiling, swing, sea",
       "antenna = [{ name = 'a', elevation = { kind = 'collinear', elements = 8, "
       "spacing_wavelengths = 0.75, null_db = -30 } }]\n"
       "aircraft = { two_antennas_share = 0.9, upper_loss_db_per_deg = 1, half_rate_share = 0.1, "
       "weak_share = 0.05 }\n"
       "reception = { threshold = 'skewed', capture = 0.8, message_loss = 0.2, "
       "message_loss_spread = 0.5 }\n"
       "receiver = [{ name = 'rx', has_level = false, swing_db = 1 }]\n"
       "reflection = [{ from_deg = 0, to_deg = 100, height_m = 12 }]"},
  };
  return all;
}

const std::vector<Pattern>& patterns() {
  static const std::vector<Pattern> all{
      {"flat", "round", [](Scenario&, std::uint64_t) {}},
      {"order1", "6 dB, order 1",
       [](Scenario& s, std::uint64_t seed) { s.antennas.front().harmonic(1, 3, drawn_deg(seed)); }},
      {"mast", "50 mm mast at 275 mm (6.6 dB)",
       [](Scenario& s, std::uint64_t seed) {
         s.antennas.front().mast(25, 275, 40 + static_cast<double>(seed % 12) * 30);
       }},
      {"notch", "6 dB notch of 50 degrees",
       [](Scenario& s, std::uint64_t seed) { s.antennas.front().notch(drawn_deg(seed), 50, 6); }},
      {"ripple1", "1 dB, order 2",
       [](Scenario& s, std::uint64_t seed) {
         s.antennas.front().harmonic(2, 0.5, drawn_deg(seed));
       }},
  };
  return all;
}

const World& find_world(std::string_view name) { return find(worlds(), name, "world"); }
const Pattern& find_pattern(std::string_view name) { return find(patterns(), name, "pattern"); }

std::string Site::label() const {
  return fmt::format("{}.{}.{:g}d.{}{}", world.name, pattern.name, days, seed,
                     traffic.empty() ? "" : ".recorded");
}

Scenario scenario_of(const Site& site) {
  Scenario base = drawn_site(site.seed, site.seed * 7919 + 13, site.days * 24);
  if (!site.traffic.empty()) base.site = {"Hill house", 37.62, -122.38, 20, 12, 0};
  auto parsed = simulate::parse_scenario(site.world.toml, site.world.name, base);
  if (!parsed) {
    fmt::print(stderr, "{}\n", parsed.error().line());
    std::exit(2);
  }
  Scenario s = *std::move(parsed);
  if (!site.traffic.empty()) s.traffic.file = site.traffic;
  if (s.antennas.empty()) s.antenna("antenna");
  if (s.receivers.empty()) s.receiver("receiver").has_level = false;
  turn(s, static_cast<double>(site.seed) * 37.7);
  site.pattern.apply(s, site.seed);
  return s;
}

}  // namespace roundel::calibration
