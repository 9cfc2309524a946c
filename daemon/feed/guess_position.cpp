#include "daemon/feed/guess_position.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <numeric>

namespace roundel::feed {
namespace {

constexpr double nearly_every = 0.98, most = 0.5;
constexpr std::size_t max_pairs = 40;

struct PositionCandidate {
  std::size_t place;
  Traits traits;
  std::vector<std::string> words;
  bool named_latitude() const { return any_word(words, {"lat", "latitude"}); }
  bool named_longitude() const { return any_word(words, {"lon", "lng", "long", "longitude"}); }
};

// Values that could be degrees of latitude or longitude. A feed says "n/a" on some lines, so it's
// the share among the numbers that counts.
bool may_be_degrees(const PositionCandidate& candidate) {
  const Traits& traits = candidate.traits;
  if (traits.n_numbers < 2 || traits.share(traits.n_numbers) < most) return false;
  if (candidate.named_latitude() || candidate.named_longitude()) return true;
  if (traits.min < -180 || traits.max > 180) return false;
  return traits.n_distinct >= 2 && traits.n_fine * 2 >= traits.n_numbers;
}

bool is_named_address(const PositionCandidate& candidate) {
  return any_word(candidate.words, {"address", "addr", "airframe", "ident", "id", "code"});
}

// Among others there may be addresses that a sign marks as none of ICAO's.
bool is_hex_address(const PositionCandidate& candidate) {
  const Traits& traits = candidate.traits;
  return traits.share(traits.n_hex) >= most &&
         traits.share(traits.n_hex + traits.n_marked_hex) >= nearly_every;
}

// Without their leading zeros, or as numbers. Whose they are, tracks tell.
bool may_be_bare_address(const PositionCandidate& candidate) {
  const Traits& traits = candidate.traits;
  constexpr double most_are_above = 0x10000;
  return traits.share(traits.n_addresses) >= nearly_every && traits.n_decimals == 0 &&
         traits.n_distinct >= 2 && traits.n_distinct * 2 < traits.n_present &&
         (is_named_address(candidate) || traits.n_hex > 0 || traits.max >= most_are_above) &&
         traits.n_steps_of_25 * 2 < traits.n_present;
}

double overlap(const SampleTable& table, const Rows& rows, std::size_t a, std::size_t b) {
  std::size_t both = 0, either = 0;
  for (const std::size_t row : rows) {
    const bool has_a = table.at(row, a).present(), has_b = table.at(row, b).present();
    both += has_a && has_b;
    either += has_a || has_b;
  }
  return either == 0 ? 0 : static_cast<double>(both) / static_cast<double>(either);
}

// GeoJSON's order is fixed: longitude first (RFC 7946, section 3.1.1).
bool is_geojson_pair(const Place& first, const Place& second) {
  return first.label.ends_with("/coordinates/0") && second.label.ends_with("/coordinates/1");
}

// Which of a pair is latitude: swaps the two where something speaks for it, and says what.
void decide_order(const SampleTable& table, const Rows& rows, const PositionCandidate& first,
                  const PositionCandidate& second, const std::vector<PositionCandidate>& all,
                  PositionGuess& guess) {
  const auto say = [&](bool swap, double confidence, std::string reason) {
    if (swap) std::swap(guess.places.latitude, guess.places.longitude);
    guess.order_confidence = confidence;
    guess.order_reason = std::move(reason);
  };
  const bool as_named = first.named_latitude() && second.named_longitude();
  const bool swapped_names = first.named_longitude() && second.named_latitude();
  guess.named = as_named || swapped_names;
  const auto beyond_90 = [](const Traits& traits) { return traits.max > 90 || traits.min < -90; };
  if (guess.named) return say(swapped_names, 0.98, "named so");
  if (is_geojson_pair(table.places[first.place], table.places[second.place]))
    return say(true, 0.95, "GeoJSON coordinates, longitude first");
  if (beyond_90(second.traits)) return say(false, 0.95, "only the longitude goes beyond 90");
  if (beyond_90(first.traits)) return say(true, 0.95, "only the longitude goes beyond 90");

  PositionPlaces swapped = guess.places;
  std::swap(swapped.latitude, swapped.longitude);
  for (const PositionCandidate& other : all) {
    const Traits& traits = other.traits;
    if (traits.n_numbers == 0 || traits.min < 0 || traits.max > 360 || traits.max < 90) continue;
    if (other.place == first.place || other.place == second.place) continue;
    const CourseMatch straight = match_course(table, rows, guess.places, other.place);
    const CourseMatch crossed = match_course(table, rows, swapped, other.place);
    // Near 45 degrees of course both orders match; on others only the right one does.
    const auto decides = [](const CourseMatch& yes, const CourseMatch& no) {
      return yes.n_steps >= 8 && yes.n_matching * 10 >= yes.n_steps * 8 &&
             no.n_matching * 10 < no.n_steps * 6;
    };
    const std::string reason =
        fmt::format("the course agrees with {}", table.describe(other.place));
    if (decides(straight, crossed)) return say(false, 0.95, reason);
    if (decides(crossed, straight)) return say(true, 0.95, reason);
  }
  say(false, 0.6, "the first of the two, as is usual");
}

// The best position on these rows, whatever the kind of line.
std::optional<PositionGuess> best_position(const SampleTable& table, const Rows& rows) {
  std::vector<PositionCandidate> all, degrees, addresses;
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    PositionCandidate candidate{place, traits_of(table, place, rows),
                                words_of(table.places[place].label)};
    if (may_be_degrees(candidate)) degrees.push_back(candidate);
    if (is_hex_address(candidate)) addresses.push_back(candidate);
    all.push_back(std::move(candidate));
  }
  if (addresses.empty())
    std::copy_if(all.begin(), all.end(), std::back_inserter(addresses), may_be_bare_address);
  const std::optional<TimePlace> time = first_time(table, rows);

  std::optional<PositionGuess> best;
  std::size_t n_pairs = 0;
  for (const PositionCandidate& first : degrees) {
    for (const PositionCandidate& second : degrees) {
      if (second.place <= first.place || n_pairs >= max_pairs) continue;
      if (overlap(table, rows, first.place, second.place) < 0.9) continue;
      const bool named = (first.named_latitude() && second.named_longitude()) ||
                         (first.named_longitude() && second.named_latitude());
      ++n_pairs;
      for (const PositionCandidate& address : addresses) {
        if (address.place == first.place || address.place == second.place) continue;
        PositionGuess guess;
        guess.places = {address.place, first.place, second.place};
        guess.time = time;
        // Latitude beyond 90 can't be; the other order may do.
        if (first.traits.max > 90 || first.traits.min < -90)
          std::swap(guess.places.latitude, guess.places.longitude);
        guess.evidence = tracks(table, rows, guess.places, time);
        const double share_plausible = guess.evidence.n_steps == 0
                                           ? 0
                                           : static_cast<double>(guess.evidence.n_plausible) /
                                                 static_cast<double>(guess.evidence.n_steps);
        // Speeds and Mach numbers change slowly as well, but a position does with every line.
        const double variety =
            static_cast<double>(std::min(first.traits.n_distinct, second.traits.n_distinct));
        guess.score = (guess.evidence.moves_like_aircraft() ? 1000 : 0) + (named ? 500 : 0) +
                      100 * share_plausible + std::min(variety, 100.0) +
                      (second.place == first.place + 1 ? 20 : 0) +
                      (is_named_address(address) ? 50 : 0) +
                      50 * address.traits.share(address.traits.n_hex_letters);
        if (best && best->score >= guess.score) continue;
        guess.places = {address.place, first.place, second.place};
        decide_order(table, rows, first, second, all, guess);
        best = guess;
      }
    }
  }
  if (best) best->evidence = tracks(table, rows, best->places, time);
  if (best && !best->named && !best->evidence.moves_like_aircraft()) {
    // Two columns in range that jump about are no position; that too few lines tell is another
    // matter.
    if (best->evidence.n_plausible * 10 < best->evidence.n_steps * 8) return std::nullopt;
  }
  return best;
}

Rows rows_of_kind(const SampleTable& table, std::size_t place, const std::string& value) {
  Rows rows;
  for (std::size_t row = 0; row < table.rows.size(); ++row)
    if (table.at(row, place).text == value) rows.push_back(row);
  return rows;
}

std::map<std::string, std::size_t> kinds_at(const SampleTable& table, std::size_t place) {
  std::map<std::string, std::size_t> kinds;
  for (const auto& row : table.rows)
    if (row[place].present()) ++kinds[row[place].text];
  return kinds;
}

}  // namespace

Rows all_rows(const SampleTable& table) {
  Rows rows(table.rows.size());
  std::iota(rows.begin(), rows.end(), std::size_t{0});
  return rows;
}

std::vector<std::size_t> places_of_kinds(const SampleTable& table) {
  std::vector<std::size_t> places;
  const Rows rows = all_rows(table);
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    const Traits traits = traits_of(table, place, rows);
    if (traits.n_distinct < 2 || traits.n_distinct > 12) continue;
    if (traits.n_present * 20 < rows.size() * 19 || traits.n_hex > 0) continue;
    if (!std::all_of(traits.texts.begin(), traits.texts.end(),
                     [](const auto& text) { return is_utf8(text.first); }))
      continue;
    if (traits.n_decimals > 0 || traits.n_distinct * 3 > traits.n_present) continue;
    places.push_back(place);
  }
  return places;
}

std::optional<TimePlace> first_time(const SampleTable& table, const Rows& rows) {
  std::optional<TimePlace> first;
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    const TimeKind kind = time_kind(traits_of(table, place, rows));
    if (kind == TimeKind::none) continue;
    const bool named =
        any_word(words_of(table.places[place].label),
                 {"time", "timestamp", "ts", "t", "datetime", "epoch", "utc", "unix"});
    if (named) return TimePlace{place, kind};
    if (!first) first = TimePlace{place, kind};
  }
  return first;
}

std::optional<PositionGuess> guess_position(const SampleTable& table) {
  const Rows rows = all_rows(table);
  std::optional<PositionGuess> best = best_position(table, rows);
  if (best && (best->named || best->evidence.moves_like_aircraft())) return best;

  for (const std::size_t place : places_of_kinds(table)) {
    for (const auto& [value, count] : kinds_at(table, place)) {
      if (count < 3) continue;
      std::optional<PositionGuess> guess = best_position(table, rows_of_kind(table, place, value));
      if (!guess || (best && best->score >= guess->score)) continue;
      guess->kind = KindOfLine{place, {value}};
      best = guess;
    }
  }
  if (!best || !best->kind) return best;
  // Other kinds may have their position in the same places.
  const std::size_t place = best->kind->place;
  for (const auto& [value, count] : kinds_at(table, place)) {
    if (value == best->kind->values.front()) continue;
    const TrackEvidence evidence =
        tracks(table, rows_of_kind(table, place, value), best->places, best->time);
    if (evidence.moves_like_aircraft()) best->kind->values.push_back(value);
  }
  std::sort(best->kind->values.begin(), best->kind->values.end());
  return best;
}

Rows rows_with_position(const SampleTable& table, const PositionGuess& guess) {
  Rows rows;
  for (std::size_t row = 0; row < table.rows.size(); ++row) {
    if (guess.kind) {
      const auto& values = guess.kind->values;
      if (std::find(values.begin(), values.end(), table.at(row, guess.kind->place).text) ==
          values.end())
        continue;
    }
    const auto within = [&](std::size_t place, double limit) {
      const SampleValue& value = table.at(row, place);
      return value.number && std::abs(*value.number) <= limit;
    };
    if (within(guess.places.latitude, 90) && within(guess.places.longitude, 180) &&
        address_of(table.at(row, guess.places.address)))
      rows.push_back(row);
  }
  return rows;
}

}  // namespace roundel::feed
