#include "roundel/feed/guesser.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <unordered_set>

#include "daemon/feed/guess_fields.h"
#include "daemon/feed/guess_position.h"
#include "daemon/feed/intake.h"
#include "daemon/feed/pairs.h"
#include "roundel/feed/layout_reader.h"

namespace roundel::feed {
namespace {

constexpr std::size_t max_lines = 3000;
constexpr char delimiters[] = {',', ';', '\t', '|', ' '};

using Lines = std::span<const std::string>;

std::string_view delimiter_name(char delimiter) {
  switch (delimiter) {
    case ',':
      return "comma";
    case ';':
      return "semicolon";
    case '\t':
      return "tab";
    case '|':
      return "pipe";
    case ' ':
      return "space";
  }
  return "delimiter";
}

// Whether the first line names columns: texts where the other lines of as many columns have
// numbers.
bool first_is_header(const SampleTable& table) {
  if (table.rows.size() < 2) return false;
  const Rows others = [&] {
    Rows rows = all_rows(table);
    rows.erase(rows.begin());
    return rows;
  }();
  std::size_t n_named = 0;
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    const SampleValue& first = table.at(0, place);
    if (!first.present()) continue;
    if (first.number) return false;
    const Traits traits = traits_of(table, place, others);
    n_named += traits.n_present > 0 && traits.n_numbers * 10 >= traits.n_present * 8;
  }
  return n_named >= 2;
}

bool holds_address(const SampleTable& table) {
  const Rows rows = all_rows(table);
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    const Traits traits = traits_of(table, place, rows);
    if (traits.n_hex * 2 > traits.n_present) return true;
  }
  return false;
}

struct Attempt {
  SampleTable table;
  std::optional<PositionGuess> position;
  config::Layout how;
  double n_columns = 0;  ///< mean

  bool has_good_position() const {
    return position && (position->named || position->evidence.moves_like_aircraft());
  }
  // Without a position, addresses at least tell how lines are cut.
  double score() const { return position ? 1 + position->score : holds_address(table) ? 1 : 0; }
};

std::vector<std::size_t> places_with_decimal_commas(const SampleTable& table) {
  std::vector<std::size_t> out;
  const Rows rows = all_rows(table);
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    const Traits traits = traits_of(table, place, rows);
    if (traits.n_decimal_commas > 0 && traits.n_decimal_commas * 10 >= traits.n_present * 9)
      out.push_back(place);
  }
  return out;
}

Attempt attempt_as(Lines lines, const config::Layout& how) {
  Attempt attempt;
  attempt.how = how;
  attempt.table = table_of(lines, how);
  if (places_with_decimal_commas(attempt.table).size() >= 2) {
    attempt.how.decimal_comma = true;
    attempt.table = table_of(lines, attempt.how);
  }
  return attempt;
}

// Documents of many aircraft are full of places: that of an array's first element would be taken
// for the only one. What tells is that each element has an address of its own.
Attempt attempt_json(Lines lines) {
  config::Layout how;
  if (const auto list = longest_list(lines)) {
    how.each = *list;
    how.line_bytes = config::most_line_bytes;
    Attempt attempt = attempt_as(lines, how);
    attempt.position = guess_position(attempt.table);
    if (attempt.has_good_position()) {
      const PositionPlaces& places = attempt.position->places;
      const auto is_inside = [&](std::size_t place) {
        return !attempt.table.places[place].at.outside;
      };
      if (is_inside(places.address) && is_inside(places.latitude) && is_inside(places.longitude))
        return attempt;
    }
  }
  Attempt attempt = attempt_as(lines, {});
  attempt.position = guess_position(attempt.table);
  return attempt;
}

Attempt attempt_columns(Lines lines, char delimiter) {
  config::Layout how;
  how.kind = config::LayoutKind::columns;
  how.delimiter = delimiter;
  how.header = first_is_header(table_of(lines, how));
  Attempt attempt = attempt_as(lines, how);
  for (const std::string& line : lines)
    attempt.n_columns += static_cast<double>(1 + std::count(line.begin(), line.end(), delimiter));
  attempt.n_columns /= static_cast<double>(std::max<std::size_t>(lines.size(), 1));
  if (attempt.n_columns >= 2.5) attempt.position = guess_position(attempt.table);
  return attempt;
}

// Whether nearly all lines are three pairs or more of a few keys, each a word.
bool are_pairs(Lines lines, const config::Layout& how) {
  constexpr std::size_t most_keys = 100;
  std::unordered_set<std::string> keys;
  std::size_t n_good = 0;
  for (const std::string& line : lines) {
    std::size_t n_pairs = 0, n_words = 0;
    PairSplitter splitter(line, how.delimiter, how.between);
    for (std::string_view key, value; splitter.next(key, value);) {
      ++n_pairs;
      const bool is_word = !key.empty() && !value.empty() &&
                           std::isalpha(static_cast<unsigned char>(key.front())) != 0;
      n_words += is_word;
      if (is_word && keys.size() <= most_keys) keys.emplace(key);
    }
    n_good += n_words >= 3 && n_words * 10 >= n_pairs * 8;
  }
  return n_good * 10 >= lines.size() * 9 && keys.size() <= most_keys &&
         keys.size() * 4 <= lines.size();
}

std::optional<Attempt> attempt_pairs(Lines lines) {
  struct Signs {
    char delimiter, between;
  };
  std::optional<Attempt> best;
  for (const Signs signs : {Signs{' ', '='},
                            {'\t', '='},
                            {';', '='},
                            {',', '='},
                            {'\t', ':'},
                            {' ', ':'},
                            {';', ':'},
                            {',', ':'},
                            {'\t', '\t'},
                            {' ', ' '}}) {
    config::Layout how;
    how.kind = config::LayoutKind::pairs;
    how.delimiter = signs.delimiter;
    how.between = signs.between;
    if (!are_pairs(lines, how)) continue;
    Attempt attempt = attempt_as(lines, how);
    attempt.position = guess_position(attempt.table);
    if (attempt.has_good_position() && (!best || attempt.score() > best->score()))
      best = std::move(attempt);
  }
  return best;
}

Attempt best_attempt(Lines lines) {
  Attempt best = attempt_json(lines);
  // Text may hold a line or two of JSON, and the other way round.
  if ((lines.size() - best.table.n_unreadable) * 2 >= lines.size()) return best;
  if (auto pairs = attempt_pairs(lines)) return std::move(*pairs);
  best = attempt_columns(lines, delimiters[0]);
  for (const char delimiter : std::string_view(delimiters + 1, std::size(delimiters) - 1)) {
    Attempt other = attempt_columns(lines, delimiter);
    // Where no position decides, the delimiter that cuts most does.
    const bool better = other.score() > best.score() ||
                        (other.score() == best.score() && other.n_columns > best.n_columns);
    if (better && (delimiter != ' ' || other.position)) best = std::move(other);
  }
  return best;
}

void guess_kind(const Attempt& attempt, Lines lines, GuessedLayout& out) {
  const config::Layout& how = attempt.how;
  const auto say = [&](std::string field, std::string at, double confidence, std::string reason) {
    out.guesses.push_back({std::move(field), std::move(at), confidence, std::move(reason)});
  };
  if (how.kind == config::LayoutKind::ndjson) {
    const std::size_t n_read = lines.size() - attempt.table.n_unreadable;
    say("kind", "ndjson", static_cast<double>(n_read) / static_cast<double>(lines.size()),
        fmt::format("{} of {} lines are JSON", n_read, lines.size()));
    if (how.each)
      say("each", how.each->empty() ? "the whole document" : *how.each, 0.95,
          fmt::format("{} elements in {} documents, each with an address",
                      attempt.table.rows.size(), n_read));
  } else if (how.kind == config::LayoutKind::pairs) {
    say("kind", "pairs", 0.95, "lines of keys, each with its value");
    say("delimiter", std::string(delimiter_name(how.delimiter)), 0.95, "it stands between pairs");
    if (how.between == how.delimiter)
      say("between", std::string(delimiter_name(how.between)), 0.95, "keys and values take turns");
    else
      say("between", std::string(1, how.between), 0.95, "it stands between key and value");
  } else {
    say("kind", "columns", 0.95, "lines of text that aren't JSON");
    if (attempt.n_columns < 1.5) return;  // nothing is cut
    say("delimiter", std::string(delimiter_name(how.delimiter)), attempt.position ? 0.95 : 0.5,
        fmt::format("it cuts lines into {:.0f} columns{}", attempt.n_columns,
                    attempt.position ? ", among which is a position" : ""));
    if (how.header)
      say("header", "true", 0.95, "the first line has words where the others have numbers");
  }
  if (how.decimal_comma) say("decimal", "comma", 0.9, "numbers have commas before their decimals");
}

// Why lines are no documents although they are JSON, or empty.
std::string doubt_documents(Lines lines) {
  std::size_t n_parts = 0, n_joined = 0;
  for (const std::string& line : lines) {
    const std::string_view text = trimmed(line);
    if (text.empty()) continue;
    const bool is_key = text.front() == '"' && text.find("\":") != std::string_view::npos;
    n_parts += is_key || text.find_first_not_of("{}[], ") == std::string_view::npos;
    n_joined += text.front() == '{' && text.find("}{") != std::string_view::npos;
  }
  const bool has_bracket = std::any_of(lines.begin(), lines.end(), [](const std::string& line) {
    return trimmed(line).find_first_not_of("{}[], ") == std::string_view::npos;
  });
  if (has_bracket && n_parts * 10 >= lines.size() * 8)
    return "the JSON documents are written over several lines: let the feed write each on a line "
           "of "
           "its own; where a web server has them, a feed with get reads them as they are";
  if (n_joined * 10 >= lines.size() * 8)
    return "several JSON documents stand on one line: let the feed end each with a line end";
  return {};
}

// Why no position was found, as far as that can be seen.
void doubt_position(const Attempt& attempt, GuessedLayout& out) {
  if (!holds_address(attempt.table))
    out.doubts.emplace_back("no place holds 24-bit addresses, as six hex digits");
  else
    out.doubts.emplace_back(
        "no two places hold latitude and longitude in decimal degrees that move like aircraft");
}

void guess_places(const PositionGuess& position, GuessState& state) {
  const TrackEvidence& seen = position.evidence;
  const bool moves = seen.moves_like_aircraft();
  const double confidence = moves ? 0.95 : position.named ? 0.75 : 0.4;
  const std::string evidence =
      seen.n_steps == 0
          ? "no aircraft is seen twice"
          : fmt::format("{} of {} steps of {} aircraft are no faster than aircraft fly",
                        seen.n_plausible, seen.n_steps, seen.n_aircraft);
  state.layout.address = state.take("address", position.places.address, confidence,
                                    "hex addresses; by these, " + evidence);
  const double with_order = std::min(confidence, position.order_confidence);
  state.layout.latitude = state.take("latitude", position.places.latitude, with_order,
                                     "decimal degrees that move; " + position.order_reason);
  state.layout.longitude = state.take("longitude", position.places.longitude, with_order,
                                      "decimal degrees that move; " + position.order_reason);
  if (!moves)
    state.doubts.push_back(fmt::format(
        "too few lines, or too little movement, to be sure of the position: {}", evidence));
  if (position.order_confidence < 0.7)
    state.doubts.push_back(fmt::format(
        "{} and {} could each be the latitude: neither names nor values tell; look at a map",
        state.table.describe(position.places.latitude),
        state.table.describe(position.places.longitude)));
}

// Reads the sample with the layout that was guessed: what counts in the end.
void try_out(Lines lines, GuessedLayout& out) {
  LayoutReader reader(*out.layout);
  std::unordered_set<std::uint32_t> aircraft;
  Intake intake;
  for (const std::string& line : lines) intake.add(reader, line, 0);
  for (const Arrival& arrival : intake.reports) aircraft.insert(arrival.report.address);
  out.n_reports = intake.reports.size();
  out.n_aircraft = aircraft.size();
  for (std::size_t i = 0; i < out.n_rejected.size(); ++i)
    out.n_rejected[i] = static_cast<std::size_t>(intake.n_rejected[i]);
  const std::size_t n_malformed = out.n_rejected[static_cast<std::size_t>(Reject::malformed)];
  if (n_malformed * 50 > lines.size())
    out.doubts.push_back(
        fmt::format("{} of {} lines can't be read with this layout", n_malformed, lines.size()));
  for (const std::string& fault : reader.take_faults())
    out.doubts.push_back("a line can't be read: " + fault);
  if (out.n_reports == 0) {
    out.layout.reset();
    out.doubts.emplace_back("not one line of the sample can be read with the layout guessed");
  }
}

}  // namespace

std::string_view confidence_word(double confidence) {
  if (confidence >= 0.9) return "sure";
  return confidence >= 0.7 ? "likely" : "unsure";
}

GuessedLayout guess_layout(std::span<const std::string> lines, const std::string& name) {
  lines = lines.first(std::min(lines.size(), max_lines));
  GuessedLayout out;
  out.n_lines = lines.size();
  if (lines.empty()) {
    out.doubts.emplace_back("there are no lines to look at");
    return out;
  }
  if (std::string doubt = doubt_documents(lines); !doubt.empty()) {
    out.doubts.push_back(std::move(doubt));
    return out;
  }
  const Attempt attempt = best_attempt(lines);
  out.lines_as = attempt.how;
  guess_kind(attempt, lines, out);
  if (!attempt.position) {
    doubt_position(attempt, out);
    return out;
  }

  config::Layout layout = attempt.how;
  layout.name = name;
  for (const std::string& line : lines)
    if (line.size() > static_cast<std::size_t>(layout.line_bytes))
      layout.line_bytes = config::most_line_bytes;
  GuessState state{attempt.table,
                   *attempt.position,
                   rows_with_position(attempt.table, *attempt.position),
                   layout,
                   out.guesses,
                   out.doubts,
                   {}};
  guess_places(*attempt.position, state);
  guess_time(state);
  guess_age(state);
  guess_altitude(state);
  guess_signal(state);
  guess_on_ground(state);
  guess_keep(state);
  guess_missing(state);
  guess_origin(state);
  out.layout = std::move(layout);
  try_out(lines, out);
  return out;
}

}  // namespace roundel::feed
