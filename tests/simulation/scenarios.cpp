#include "tests/simulation/scenarios.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>

#include "roundel/pattern/exposure.h"
#include "roundel/simulate/simulate.h"
#include "roundel/site/horizon.h"
#include "tests/simulation/drawn_site.h"

namespace roundel::calibration {
namespace {

using simulate::Scenario;

Scenario site(std::uint64_t seed, double hours, bool with_levels = false) {
  Scenario s = drawn_site(seed, seed * 7919 + 13, hours);
  s.receiver("receiver").has_level = with_levels;
  return s;
}

Scenario with_mast(std::uint64_t seed, double hours, bool with_levels = false) {
  Scenario s = site(seed, hours, with_levels);
  s.antenna("antenna").mast(25, 275, 40 + static_cast<double>(seed % 12) * 30);
  return s;
}

Scenario with_wall(std::uint64_t seed, double hours) {
  Scenario s = site(seed, hours);
  const double from_deg = static_cast<double>((seed * 37) % 72) * 5;
  const double height_deg = 3 + static_cast<double>(seed % 5) * 0.5;
  s.wall(from_deg, std::fmod(from_deg + 85, 360), height_deg);
  return s;
}

// Two parts of unlike height, borders anywhere in a sector, and an edge as soft as diffraction
// makes it at 30 to 300 m.
Scenario with_ragged_wall(std::uint64_t seed, double hours) {
  Scenario s = site(seed, hours);
  const double from_deg = std::fmod(static_cast<double>(seed) * 37.7, 360);
  const double height_deg = 3 + static_cast<double>(seed % 4) * 0.5;
  const double soft_deg = 0.15 + 0.05 * static_cast<double>(seed % 5);
  s.wall(from_deg, std::fmod(from_deg + 40, 360), height_deg);
  s.wall(std::fmod(from_deg + 40, 360), std::fmod(from_deg + 85, 360), height_deg + 0.7);
  for (auto& wall : s.walls) wall.soft_deg = soft_deg;
  return s;
}

}  // namespace

const std::vector<Case>& cases() {
  static const std::vector<Case> all{
      {"flat-1d", "flat, one day", [](auto seed) { return site(seed, 24); }},
      {"flat-3d", "flat, three days", [](auto seed) { return site(seed, 72); }},
      {"flat-1h", "flat, one hour",
       [](auto seed) {
         Scenario s = site(seed, 1);
         s.start_s += 12 * 3600;
         return s;
       }},
      {"flat-levels-1d", "flat, levels in the feed, one day",
       [](auto seed) { return site(seed, 24, true); }},
      {"mast-1d", "50 mm mast at 275 mm (6.6 dB), one day",
       [](auto seed) { return with_mast(seed, 24); }},
      {"mast-levels-1d", "the same, levels in the feed",
       [](auto seed) { return with_mast(seed, 24, true); }},
      {"ripple6-1d", "6 dB peak-to-peak, order 1, one day",
       [](auto seed) {
         Scenario s = site(seed, 24);
         s.antenna("antenna").harmonic(1, 3, static_cast<double>((seed * 53) % 360));
         return s;
       }},
      {"notch-1d", "6 dB notch, 50 degrees, one day",
       [](auto seed) {
         Scenario s = site(seed, 24);
         s.antenna("antenna").notch(static_cast<double>((seed * 53) % 360), 50, 6);
         return s;
       }},
      {"wall-1d", "wall of 3 to 5 degrees over 85 degrees of bearing, one day",
       [](auto seed) { return with_wall(seed, 24); }},
      {"wall-3d", "the same, three days", [](auto seed) { return with_wall(seed, 72); }},
      {"ragged-wall-1d", "the same, soft and ending anywhere, one day",
       [](auto seed) { return with_ragged_wall(seed, 24); }},
      {"thin-1d", "flat, 3 aircraft on average, one day",
       [](auto seed) {
         Scenario s = site(seed, 24);
         s.traffic.mean_aircraft = 3;
         return s;
       }},
      {"thin-mast-1d", "6.6 dB mast, 3 aircraft on average, one day",
       [](auto seed) {
         Scenario s = with_mast(seed, 24);
         s.traffic.mean_aircraft = 3;
         return s;
       }},
      {"throttled-1d", "flat, at most one line a second",
       [](auto seed) {
         Scenario s = site(seed, 24);
         s.feed("roof").throttled = true;
         return s;
       }},
      {"throttled-mast-1d", "6.6 dB mast, at most one line a second",
       [](auto seed) {
         Scenario s = with_mast(seed, 24);
         s.feed("roof").throttled = true;
         return s;
       }},
      {"busy-site-1d", "6.6 dB mast, airways, orbit, ducting, outages, ghosts, wild positions",
       [](auto seed) {
         Scenario s = with_mast(seed, 24);
         s.traffic.orbits.push_back({});
         s.traffic.orbits.back().share = 0.05;
         s.traffic.airways.push_back({20, 210, 0.4});
         s.traffic.airways.push_back({100, 300, 0.3});
         s.ducts.push_back({18, 20});
         auto& feed = s.feed("roof");
         feed.outages = {{5, 5.4}, {13, 14.2}};
         feed.ghost_share = 0.001;
         feed.wild_share = 0.001;
         return s;
       }},
      {"empty-west-1d", "flat, no traffic from 240 to 300 degrees",
       [](auto seed) {
         Scenario s = site(seed, 24);
         s.traffic.empties.push_back({240, 300, 0.0});
         return s;
       }},
  };
  return all;
}

std::vector<Case> rehearsals(const std::filesystem::path& traffic) {
  const auto rehearsal = [traffic](std::uint64_t seed) {
    Scenario s = site(seed, 168);
    s.site = {"Hill house", 37.62, -122.38, 20, 12, 0};
    s.traffic.file = traffic;
    return s;
  };
  return {{"real-flat-7d", "flat, a recorded week", rehearsal},
          {"real-ripple1-7d", "1 dB peak-to-peak, order 2, a recorded week",
           [rehearsal](std::uint64_t seed) {
             Scenario s = rehearsal(seed);
             s.antenna("antenna").harmonic(2, 0.5, static_cast<double>((seed * 53) % 180));
             return s;
           }},
          {"real-mast-7d", "6.6 dB mast, a recorded week",
           [rehearsal](std::uint64_t seed) {
             Scenario s = rehearsal(seed);
             s.antenna("antenna").mast(25, 275, 40 + static_cast<double>(seed % 12) * 30);
             return s;
           }},
          {"real-notch-7d", "6 dB notch, 50 degrees, landwards, a recorded week",
           [rehearsal](std::uint64_t seed) {
             Scenario s = rehearsal(seed);
             s.antenna("antenna").notch(40 + static_cast<double>((seed * 53) % 100), 50, 6);
             return s;
           }}};
}

const Case& find(std::string_view name) {
  for (const Case& one : cases())
    if (one.name == name) return one;
  std::fprintf(stderr, "no scenario \"%.*s\"\n", static_cast<int>(name.size()), name.data());
  std::exit(2);
}

Outcome run(const Case& one, std::uint64_t seed) {
  const Scenario scenario = one.make(seed);
  const Simulated recorded = simulated(scenario, one.name);
  pattern::ExposureBuilder builder(recorded.viewpoint, 5);
  recorded.add_to(builder);
  Outcome out;
  pattern::VerdictOptions options;
  options.tolerance_db = one.tolerance_db;
  out.verdict = pattern::judge(builder.finish(), {}, options);

  const auto& truth = recorded.set.truth.trials[0].pattern_db;
  const int n = static_cast<int>(out.verdict.sectors.size());
  const int width = 360 / n;
  std::vector<double> expected(static_cast<std::size_t>(n));
  double mean = 0;
  for (int s = 0; s < n; ++s) {
    // Mean over the sector; truth[d] stands at d degrees, so the ends count half.
    double sum = 0;
    for (int d = 0; d <= width; ++d)
      sum += truth[static_cast<std::size_t>((s * width + d) % 360)] *
             (d == 0 || d == width ? 0.5 : 1.0) / width;
    expected[static_cast<std::size_t>(s)] = sum;
    if (out.verdict.sectors[static_cast<std::size_t>(s)].gain_db) mean += sum, ++out.judged;
  }
  if (out.judged > 0) mean /= out.judged;
  double squares = 0;
  int pairs = 0;
  double xx = 0, xy = 0;
  double high = -99, low = 99;
  for (int s = 0; s < n; ++s) {
    const auto at = static_cast<std::size_t>(s);
    const pattern::SectorVerdict& sector = out.verdict.sectors[at];
    const double true_db = expected[at] - mean;
    if (sector.gain_db) {
      high = std::max(high, true_db);
      low = std::min(low, true_db);
      ++out.intervals;
      xx += true_db * true_db;
      xy += true_db * *sector.gain_db;
      out.holding += true_db >= *sector.low_db && true_db <= *sector.high_db;
      const auto& next = out.verdict.sectors[(at + 1) % static_cast<std::size_t>(n)];
      if (s % 2 == 0 && next.gain_db) {
        const double error =
            (*sector.gain_db + *next.gain_db) / 2 - (expected[at] + expected[at + 1]) / 2 + mean;
        squares += error * error;
        ++pairs;
      }
    }
    // A sector counts as walled when the wall covers all of it.
    bool all = true, some = false;
    double height = 0;
    for (int d = 0; d < width; ++d) {
      const double mask = recorded.set.truth.mask_deg[static_cast<std::size_t>(s * width + d)];
      all = all && mask > 0.5;
      some = some || mask > 0.5;
      height = mask;
    }
    if (all && sector.state != pattern::State::unjudged) {
      ++out.walled;
      if (sector.cutoff_deg) {
        ++out.walled_found;
        out.cutoff_error_squares += std::pow(*sector.cutoff_deg - height, 2);
      }
    }
    if (!some && sector.state == pattern::State::obstructed) ++out.false_walls;
  }
  if (xx > 1) out.scale = xy / xx;
  if (pairs > 0) out.rms_db = std::sqrt(squares / pairs);
  out.true_ripple_db = out.judged > 0 ? high - low : 0;
  out.ripple_holds = out.true_ripple_db >= out.verdict.ripple.low_db - 1e-9 &&
                     out.true_ripple_db <= out.verdict.ripple.high_db + 1e-9;
  return out;
}

}  // namespace roundel::calibration
