#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "daemon/feed/guess_fields.h"

namespace roundel::feed {
namespace {

enum class Unit { ft, m, unknown };

struct Candidate {
  std::size_t place{};
  Unit unit = Unit::unknown;
  bool named = false;
  bool geometric = false;  ///< named as above the ellipsoid or by satellite
  bool selected = false;   ///< named as what the crew or autopilot aims at
  double score = 0;
  std::string reason;
};

// Neighbouring lines of one aircraft differ by little: climbs are below 150 ft/s, and a sample's
// lines are seconds apart.
bool changes_slowly(const GuessState& state, const Rows& rows, std::size_t place) {
  constexpr double max_step = 2000;
  std::unordered_map<std::uint32_t, double> latest;
  std::size_t n_steps = 0, n_jumps = 0;
  for (const std::size_t row : rows) {
    const auto address = address_of(state.table.at(row, state.position.places.address));
    const auto& value = state.table.at(row, place).number;
    if (!address || !value) continue;
    const auto [entry, is_new] = latest.emplace(*address, *value);
    if (is_new) continue;
    ++n_steps;
    n_jumps += std::abs(*value - std::exchange(entry->second, *value)) > max_step;
  }
  return n_jumps * 20 <= n_steps;
}

std::optional<Candidate> consider(const GuessState& state, const Rows& rows, std::size_t place,
                                  std::vector<std::string>& unreadable) {
  if (state.is_used(place)) return std::nullopt;
  const Traits traits = traits_of(state.table, place, rows);
  if (traits.n_numbers < 3 || traits.n_numbers * 10 < rows.size()) return std::nullopt;
  if (traits.n_numbers * 2 < traits.n_present) return std::nullopt;
  const auto words = words_of(state.table.places[place].label);
  if (any_word(words, {"rate", "vertical", "climb", "vs", "roc", "speed", "track", "heading",
                       "squawk", "count", "code"}))
    return std::nullopt;
  Candidate candidate;
  candidate.place = place;
  candidate.named = any_word(words, {"alt", "altitude", "height", "elevation"});
  candidate.geometric =
      any_word(words, {"geo", "geom", "geometric", "gnss", "gps", "wgs84", "ellipsoid", "hae"});
  candidate.selected = any_word(
      words, {"selected", "sel", "target", "mcp", "fms", "set", "cleared", "autopilot", "ap"});
  if (any_word(words, {"fl", "flightlevel"}) ||
      (any_word(words, {"flight"}) && any_word(words, {"level"}))) {
    unreadable.push_back(
        fmt::format("{} is named like a flight level (hundreds of feet), which can't be read",
                    state.table.describe(place)));
    return std::nullopt;
  }
  const double n = static_cast<double>(traits.n_numbers);
  const auto share = [&](std::size_t count) { return static_cast<double>(count) / n; };
  if (traits.min < -2500 || traits.max > 130000 || !changes_slowly(state, rows, place))
    return std::nullopt;
  // Transponder codes are four octal digits, of which 1000, 2000 and 7000 are frequent.
  if (!candidate.named && share(traits.n_octal) >= 0.98) return std::nullopt;
  if (!candidate.named && traits.n_distinct < 2) return std::nullopt;

  const bool in_feet = any_word(words, {"ft", "feet", "foot"});
  const bool in_metres = any_word(words, {"m", "meter", "meters", "metre", "metres"});
  const bool steps_of_25 = share(traits.n_steps_of_25) >= 0.95 && traits.max >= 1000;
  const bool steps_in_m = share(traits.n_steps_of_25ft_in_m) >= 0.95 && traits.max >= 500 &&
                          traits.max <= 20000 && (traits.n_distinct >= 8 || traits.n_decimals > 0);
  if (in_feet || in_metres) {
    candidate.unit = in_feet ? Unit::ft : Unit::m;
    candidate.reason = fmt::format("numbers from {} to {}, unit named", traits.min, traits.max);
  } else if (steps_of_25) {
    candidate.unit = Unit::ft;
    candidate.reason = fmt::format("multiples of 25 from {} to {}: feet", traits.min, traits.max);
  } else if (steps_in_m) {
    candidate.unit = Unit::m;
    candidate.reason =
        fmt::format("multiples of 25 ft in metres, from {} to {}", traits.min, traits.max);
  } else if (traits.max > 20000) {
    candidate.unit = Unit::ft;
    candidate.reason = fmt::format("from {} to {}: too high for metres", traits.min, traits.max);
  } else {
    candidate.reason = fmt::format("numbers from {} to {}", traits.min, traits.max);
  }
  const bool by_values = (steps_of_25 || steps_in_m) && traits.n_distinct >= 2;
  if (!by_values && !candidate.named) return std::nullopt;
  candidate.score = (candidate.named ? 0.5 : 0) +
                    (steps_of_25  ? 0.45
                     : steps_in_m ? 0.4
                                  : 0) -
                    (candidate.geometric ? 0.2 : 0) - (candidate.selected ? 0.6 : 0) +
                    (any_word(words, {"baro", "barometric", "pressure", "std"}) ? 0.1 : 0) +
                    0.1 * n / static_cast<double>(rows.size());
  return candidate;
}

std::vector<Candidate> candidates_on(const GuessState& state, const Rows& rows,
                                     std::vector<std::string>& unreadable) {
  std::vector<Candidate> candidates;
  for (std::size_t place = 0; place < state.table.places.size(); ++place)
    if (auto candidate = consider(state, rows, place, unreadable))
      candidates.push_back(std::move(*candidate));
  std::stable_sort(candidates.begin(), candidates.end(),
                   [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  return candidates;
}

// Lines of the same aircraft that have no position.
Rows other_rows(const GuessState& state) {
  Rows rows;
  auto next = state.rows.begin();
  for (std::size_t row = 0; row < state.table.rows.size(); ++row) {
    if (next != state.rows.end() && *next == row)
      ++next;
    else if (address_of(state.table.at(row, state.position.places.address)))
      rows.push_back(row);
  }
  return rows;
}

void doubt_rivals(GuessState& state, const Candidate& taken,
                  const std::vector<Candidate>& candidates) {
  for (const Candidate& rival : candidates) {
    if (rival.place == taken.place || rival.selected) continue;
    if (rival.score < taken.score - 0.15) continue;
    state.doubts.push_back(fmt::format(
        "{} and {} both look like altitude: which is pressure altitude and which geometric can't "
        "be told from the values; took {}",
        state.table.describe(std::min(taken.place, rival.place)),
        state.table.describe(std::max(taken.place, rival.place)),
        state.table.describe(taken.place)));
  }
}

}  // namespace

void guess_altitude(GuessState& state) {
  constexpr double carry_s = 30;
  std::vector<std::string> unreadable;
  std::vector<Candidate> candidates = candidates_on(state, state.rows, unreadable);
  const bool elsewhere = candidates.empty() && !state.position.kind;
  if (elsewhere) candidates = candidates_on(state, other_rows(state), unreadable);
  if (candidates.empty()) {
    for (const std::string& doubt : unreadable) state.doubts.push_back(doubt);
    state.doubts.emplace_back(
        "no altitude was found: reports without one can't be held against the horizon");
    return;
  }
  const Candidate& best = candidates.front();
  if (best.selected)
    state.doubts.push_back(fmt::format("{} may be the altitude that is aimed at, not the one flown",
                                       state.table.describe(best.place)));
  if (best.unit == Unit::unknown)
    state.doubts.push_back(fmt::format(
        "the unit of {} can't be told: its values fit feet and metres; feet were assumed",
        state.table.describe(best.place)));
  state.layout.altitude_unit =
      best.unit == Unit::m ? config::AltitudeUnit::m : config::AltitudeUnit::ft;
  double confidence = best.unit == Unit::unknown ? 0.5 : best.named ? 0.95 : 0.85;
  const std::size_t n_doubts = state.doubts.size();
  doubt_rivals(state, best, candidates);
  if (best.selected || best.geometric || state.doubts.size() > n_doubts)
    confidence = std::min(confidence, 0.6);
  if (best.geometric)
    state.doubts.push_back(fmt::format("{} is named as geometric altitude, not pressure altitude",
                                       state.table.describe(best.place)));
  state.layout.altitude =
      state.take(best.unit == Unit::m ? "altitude_m" : "altitude_ft", best.place, confidence,
                 best.reason + (best.named ? ", and named so" : ""));
  if (elsewhere) {
    state.layout.carry_s = carry_s;
    state.guesses.push_back({"carry_s", fmt::format("{} s", carry_s), 0.8,
                             "altitude comes on other lines than the position"});
  }
}

}  // namespace roundel::feed
