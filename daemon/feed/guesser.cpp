#include "roundel/feed/guesser.h"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_set>

#include "daemon/feed/guess_fields.h"
#include "daemon/feed/guess_position.h"
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
  config::LayoutKind kind{};
  char delimiter = ',';
  bool header = false;
  double n_columns = 0;  ///< mean

  // Without a position, addresses at least tell how lines are cut.
  double score() const { return position ? 1 + position->score : holds_address(table) ? 1 : 0; }
};

Attempt attempt_json(Lines lines) {
  Attempt attempt;
  attempt.kind = config::LayoutKind::ndjson;
  attempt.table = table_of_json(lines);
  attempt.position = guess_position(attempt.table);
  return attempt;
}

Attempt attempt_columns(Lines lines, char delimiter) {
  Attempt attempt;
  attempt.kind = config::LayoutKind::columns;
  attempt.delimiter = delimiter;
  attempt.table = table_of_columns(lines, delimiter, false);
  attempt.header = first_is_header(attempt.table);
  if (attempt.header) attempt.table = table_of_columns(lines, delimiter, true);
  for (const std::string& line : lines)
    attempt.n_columns += static_cast<double>(1 + std::count(line.begin(), line.end(), delimiter));
  attempt.n_columns /= static_cast<double>(std::max<std::size_t>(lines.size(), 1));
  if (attempt.n_columns >= 2.5) attempt.position = guess_position(attempt.table);
  return attempt;
}

Attempt best_attempt(Lines lines) {
  Attempt best = attempt_json(lines);
  // Text may hold a line or two of JSON, and the other way round.
  if (best.table.rows.size() * 2 >= lines.size()) return best;
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
  const std::size_t n_read = attempt.table.rows.size() + (attempt.header ? 1 : 0);
  const double share = static_cast<double>(n_read) / static_cast<double>(lines.size());
  if (attempt.kind == config::LayoutKind::ndjson) {
    out.guesses.push_back(
        {"kind", "ndjson", share, fmt::format("{} of {} lines are JSON", n_read, lines.size())});
    return;
  }
  out.guesses.push_back({"kind", "columns", 0.95, "lines of text that aren't JSON"});
  if (attempt.n_columns < 1.5) return;  // nothing is cut
  out.guesses.push_back({"delimiter", std::string(delimiter_name(attempt.delimiter)),
                         attempt.position ? 0.95 : 0.5,
                         fmt::format("it cuts lines into {:.0f} columns{}", attempt.n_columns,
                                     attempt.position ? ", among which is a position" : "")});
  if (attempt.header)
    out.guesses.push_back(
        {"header", "true", 0.95, "the first line has words where the others have numbers"});
}

// Why no position was found, as far as that can be seen.
void doubt_position(const Attempt& attempt, GuessedLayout& out) {
  std::vector<std::string> with_commas;
  const Rows rows = all_rows(attempt.table);
  for (std::size_t place = 0; place < attempt.table.places.size(); ++place) {
    const Traits traits = traits_of(attempt.table, place, rows);
    if (traits.n_decimal_commas * 10 >= traits.n_present * 9 && traits.n_present > 0)
      with_commas.push_back(attempt.table.describe(place));
  }
  if (with_commas.size() >= 2)
    out.doubts.push_back(
        fmt::format("{} have decimal commas, which can't be read: set the feed to decimal points",
                    fmt::join(with_commas, ", ")));
  else if (!holds_address(attempt.table))
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
  for (const std::string& line : lines) {
    const auto report = reader.read(line, 0);
    if (report) {
      ++out.n_reports;
      aircraft.insert(report->address);
    } else {
      ++out.n_rejected[static_cast<std::size_t>(report.error())];
    }
  }
  out.n_aircraft = aircraft.size();
  const std::size_t n_malformed = out.n_rejected[static_cast<std::size_t>(Reject::malformed)];
  if (n_malformed * 50 > lines.size())
    out.doubts.push_back(
        fmt::format("{} of {} lines can't be read with this layout", n_malformed, lines.size()));
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
  const Attempt attempt = best_attempt(lines);
  out.kind = attempt.kind;
  out.delimiter = attempt.delimiter;
  out.header = attempt.header;
  guess_kind(attempt, lines, out);
  if (!attempt.position) {
    doubt_position(attempt, out);
    return out;
  }

  config::Layout layout;
  layout.name = name;
  layout.kind = attempt.kind;
  layout.delimiter = attempt.delimiter;
  layout.header = attempt.header;
  GuessState state{attempt.table,
                   *attempt.position,
                   rows_with_position(attempt.table, *attempt.position),
                   layout,
                   out.guesses,
                   out.doubts,
                   {}};
  guess_places(*attempt.position, state);
  guess_time(state);
  guess_altitude(state);
  guess_signal(state);
  guess_on_ground(state);
  guess_keep(state);
  guess_missing(state);
  out.layout = std::move(layout);
  try_out(lines, out);
  return out;
}

}  // namespace roundel::feed
