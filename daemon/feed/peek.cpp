#include "daemon/feed/peek.h"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "daemon/feed/sample_table.h"

namespace roundel::feed {
namespace {

constexpr std::size_t max_places_shown = 60, max_examples = 3, max_example_chars = 24;

// A feed is foreign text: nothing of it may reach the terminal as a command.
std::string shown(std::string_view text) {
  std::string out;
  for (const char c : text.substr(0, max_example_chars)) {
    const auto byte = static_cast<unsigned char>(c);
    out += byte < 0x20 || byte == 0x7f || (byte >= 0x80 && !is_utf8(text)) ? '.' : c;
  }
  // Cut between characters: no continuation bytes without their beginning's rest.
  if (text.size() > max_example_chars) {
    while (!out.empty() && !is_utf8(out)) out.pop_back();
    out += "...";
  }
  return out;
}

std::string clean(std::string_view text) {
  std::string out(text);
  std::replace_if(
      out.begin(), out.end(),
      [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }, '.');
  return out;
}

struct PlaceLine {
  std::string place, meaning, lines, examples;
};

std::vector<PlaceLine> place_lines(const SampleTable& table, const GuessedLayout& guessed) {
  std::vector<PlaceLine> out;
  for (std::size_t place = 0; place < table.places.size(); ++place) {
    PlaceLine line;
    std::size_t n_present = 0;
    std::vector<std::string> examples;
    for (const auto& row : table.rows) {
      if (!row[place].present()) continue;
      ++n_present;
      if (examples.size() < max_examples &&
          std::find(examples.begin(), examples.end(), row[place].text) == examples.end())
        examples.push_back(row[place].text);
    }
    for (std::string& example : examples) example = shown(example);
    const std::string where = table.describe(place);
    for (const Guess& guess : guessed.guesses)
      if (guess.at == where) line.meaning = guess.field;
    line.place = clean(where);
    line.lines = fmt::format(
        "{:.0f}%", 100.0 * static_cast<double>(n_present) / static_cast<double>(table.rows.size()));
    line.examples = fmt::format("{}", fmt::join(examples, "  "));
    out.push_back(std::move(line));
  }
  return out;
}

std::string sample_text(std::span<const std::string> lines, const GuessedLayout& guessed) {
  const SampleTable table = table_of(lines, guessed.lines_as);
  std::vector<PlaceLine> places = place_lines(table, guessed);
  const std::size_t n_more =
      places.size() > max_places_shown ? places.size() - max_places_shown : 0;
  places.resize(places.size() - n_more);
  std::size_t place_width = 5, meaning_width = 7;
  for (const PlaceLine& line : places) {
    place_width = std::max(place_width, line.place.size());
    meaning_width = std::max(meaning_width, line.meaning.size());
  }
  std::string out;
  const auto add = [&](std::string_view place, std::string_view n_lines, std::string_view meaning,
                       std::string_view examples) {
    out += fmt::format("  {:<{}}  {:>5}  {:<{}}  {}", place, place_width, n_lines, meaning,
                       meaning_width, examples);
    out.erase(out.find_last_not_of(' ') + 1);
    out += '\n';
  };
  add("place", "lines", "meaning", "examples");
  for (const PlaceLine& line : places) add(line.place, line.lines, line.meaning, line.examples);
  if (n_more > 0) out += fmt::format("  and {} more\n", n_more);
  return out;
}

std::string guesses_text(const GuessedLayout& guessed) {
  std::size_t field_width = 0, at_width = 0;
  for (const Guess& guess : guessed.guesses) {
    field_width = std::max(field_width, guess.field.size());
    at_width = std::max(at_width, clean(guess.at).size());
  }
  std::string out;
  for (const Guess& guess : guessed.guesses)
    out += fmt::format("  {:<{}}  {:<{}}  {:<6}  {}\n", guess.field, field_width, clean(guess.at),
                       at_width, confidence_word(guess.confidence), clean(guess.reason));
  return out;
}

std::string reading_text(const GuessedLayout& guessed) {
  std::string out =
      fmt::format("Read with this layout, {} of {} lines are positions, of {} aircraft",
                  guessed.n_reports, guessed.n_lines, guessed.n_aircraft);
  for (std::size_t i = 0; i < guessed.n_rejected.size(); ++i)
    if (guessed.n_rejected[i] > 0)
      out += fmt::format("; {} {}", guessed.n_rejected[i], reject_names[i]);
  return out + ".\n";
}

}  // namespace

std::string peek(std::span<const std::string> lines, const GuessedLayout& guessed,
                 const PeekOptions& options) {
  const std::string table = guessed.layout ? to_toml(*guessed.layout) : "";
  if (options.layout_only) return table;
  std::string out = fmt::format("{}: {} lines", clean(options.source), lines.size());
  if (options.took_s > 0) out += fmt::format(" in {:.1f} s", options.took_s);
  if (guessed.n_lines < lines.size()) out += fmt::format(", looked at {}", guessed.n_lines);
  out += "\n\n" + sample_text(lines.first(guessed.n_lines), guessed);
  out += "\nGuesses, and what speaks for them:\n" + guesses_text(guessed);
  if (!guessed.doubts.empty()) {
    out += "\nTo be checked by you:\n";
    for (const std::string& doubt : guessed.doubts) out += fmt::format("  - {}\n", clean(doubt));
  }
  out += '\n';
  if (!guessed.layout)
    return out + "No layout can be given: address and position are needed at least.\n";
  return out + reading_text(guessed) + "\n" + table;
}

std::string peek_json(const GuessedLayout& guessed, const PeekOptions& options) {
  nlohmann::ordered_json out;
  out["source"] = options.source;
  out["lines"] = guessed.n_lines;
  out["guesses"] = nlohmann::ordered_json::array();
  for (const Guess& guess : guessed.guesses)
    out["guesses"].push_back({{"field", guess.field},
                              {"at", guess.at},
                              {"confidence", guess.confidence},
                              {"sure", confidence_word(guess.confidence)},
                              {"reason", guess.reason}});
  out["doubts"] = guessed.doubts;
  out["reports"] = guessed.n_reports;
  out["aircraft"] = guessed.n_aircraft;
  out["rejected"] = nlohmann::ordered_json::object();
  for (std::size_t i = 0; i < guessed.n_rejected.size(); ++i)
    if (guessed.n_rejected[i] > 0) out["rejected"][reject_names[i]] = guessed.n_rejected[i];
  out["layout"] = guessed.layout ? nlohmann::ordered_json(to_toml(*guessed.layout)) : nullptr;
  // Foreign bytes that aren't UTF-8 are replaced, not thrown at.
  return out.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace roundel::feed
