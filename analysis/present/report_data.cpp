#include <fmt/format.h>

#include <algorithm>

#include "analysis/present/report_sections.h"
#include "roundel/present/reach.h"
#include "roundel/present/verdict.h"
#include "roundel/time.h"

namespace roundel::present {
namespace {

std::string minute(std::int64_t time_s) {
  std::string text = format_time(static_cast<double>(time_s)).substr(0, 16);
  std::replace(text.begin(), text.end(), 'T', ' ');
  return text;
}

/// "2026-03-02 09:00, 11:00 and 3 more".
std::string some_hours(const std::vector<std::int64_t>& hours_s) {
  constexpr std::size_t most = 6;
  std::string out;
  for (std::size_t i = 0; i < std::min(most, hours_s.size()); ++i)
    out += (i > 0 ? ", " : "") + minute(hours_s[i]);
  if (hours_s.size() > most) out += fmt::format(" and {} more", hours_s.size() - most);
  return out;
}

std::int64_t count_of(const schema::Tally& tally, const std::string& kind) {
  const auto found = tally.find(kind);
  return found == tally.end() ? 0 : found->second;
}

std::string words(std::string kind) {
  std::replace(kind.begin(), kind.end(), '_', ' ');
  return kind;
}

}  // namespace

void what_was_mounted(Svg& html, const ReportPage& page) {
  heading(html, "What was mounted when");
  html.open("div", {{"class", "wide"}});
  html.open("table", {{"class", "words"}});
  html.open("thead");
  table_row(
      html,
      {"trial", "antenna", "mount", "rotation", "receiver", "feed", "from, UTC", "to, UTC", "note"},
      true);
  html.close();
  html.open("tbody");
  for (const schema::Trial& trial : page.trials)
    table_row(html,
              {std::to_string(trial.id), trial.antenna, trial.mount,
               fmt::format("{:g}°", trial.rotation_deg), trial.receiver, trial.feed,
               minute(trial.start_s), trial.stop_s ? minute(*trial.stop_s) : "running", trial.note},
              false);
  html.close();
  html.close();
  html.close();
  if (page.notes.empty()) return;
  html.open("ul");
  for (const schema::Note& note : page.notes)
    html.leaf("li", {}, fmt::format("{} UTC: {}", minute(note.time_s), note.text));
  html.close();
}

void data_quality(Svg& html, const ReportPage& page) {
  heading(html, "How good the data are");
  for (const FeedQuality& feed : page.feeds) {
    paragraph(html, fmt::format(
                        "Feed {}: {} reports received in {:.1f} hours of recording, {} stored, {} "
                        "repeats.",
                        feed.feed, grouped(count_of(feed.tally, "received")),
                        static_cast<double>(feed.recorded_s) / 3600,
                        grouped(count_of(feed.tally, "stored")),
                        grouped(count_of(feed.tally, "repeat"))));
    std::string rejected;
    for (const auto& [kind, count] : feed.tally)
      if (kind != "received" && kind != "stored" && kind != "repeat")
        rejected +=
            fmt::format("{}{} {}", rejected.empty() ? "" : ", ", words(kind), grouped(count));
    if (!rejected.empty())
      paragraph(html, fmt::format("Rejected from {}, by reason: {}.", feed.feed, rejected));
  }
  const auto& verdict = page.verdict;
  paragraph(
      html,
      fmt::format("The conclusions rest on {} flights and {} cells of 10 s, {} of them "
                  "silent (the aircraft was there and nothing was heard). Single reports are "
                  "not independent; every interval here counts flights.",
                  grouped(verdict.flights), grouped(verdict.cells), grouped(verdict.silent_cells)));
  paragraph(html, verdict.hours_off.empty()
                      ? std::string("No hour was left out for want of reception.")
                      : fmt::format("Left out, as hardly anything was heard then (receiver off or "
                                    "deaf): {} hours: {}.",
                                    verdict.hours_off.size(), some_hours(verdict.hours_off)));
  if (!verdict.hours_ducting.empty())
    paragraph(html, fmt::format("Left out, as many reports came from beyond the horizon (ducting, "
                                "or bad positions): {} hours: {}.",
                                verdict.hours_ducting.size(), some_hours(verdict.hours_ducting)));
  const std::string beyond = beyond_sentence(page.reach, page.units);
  if (!beyond.empty()) paragraph(html, beyond);
  if (verdict.throttle.is_throttled())
    paragraph(html, fmt::format("The feed thins its lines: about one in {:.1f} of what an aircraft "
                                "sends can be printed. The estimate allows for that.",
                                verdict.throttle.messages_per_chance));
  if (verdict.strength.used)
    paragraph(html, fmt::format("Signal levels were used beside the counts; {}.",
                                difference_of_methods(verdict)));
  if (!verdict.rate.remark.empty()) paragraph(html, "Counts: " + verdict.rate.remark + ".");
  if (!verdict.strength.remark.empty())
    paragraph(html, "Signal levels: " + verdict.strength.remark + ".");
}

void method(Svg& html, const ReportPage& page) {
  heading(html, "How this was found, and its limits");
  paragraph(html,
            "An airborne aircraft sends its position about twice a second (ICAO Annex 10, volume "
            "IV). Of what it sent in each 10 s, so many reports got through: that share measures "
            "the link's margin, whatever the receiver. Silence between two contacts counts as "
            "silence, so a bearing on which nothing is heard does not look like one on which "
            "nobody flies.");
  paragraph(html, fmt::format(
                      "Reach is held against the radio horizon ({}), range and bearing being those "
                      "of the WGS 84 geodesic. Gain is what is left of the share heard, or of the "
                      "level, when distance, elevation, each aircraft's own power and the hour's "
                      "traffic are taken out. A wall is told from a weak antenna by its mark: a "
                      "wall silences everything below one elevation at whatever range, a weak "
                      "antenna loses range at every altitude alike.",
                      page.reach.limit_method));
  paragraph(html, fmt::format(
                      "\"Omnidirectional\" means: with {:.0f} % confidence every two bearings "
                      "differ by less than {:g} dB, and no gap of bearings without traffic is "
                      "wider than 15 degrees. \"Not omnidirectional\" means that some two differ "
                      "by more, with the same confidence. All else is undecided; want of evidence "
                      "is no pass.",
                      100 * page.verdict.options.confidence, page.verdict.options.tolerance_db));
  paragraph(
      html,
      "Limits: gain is relative between bearings, near the horizontal; nothing here gives gain "
      "in dBi, standing waves or the pattern overhead. Antenna, feeder and receiver are judged "
      "together, with what stands around them; only turning or swapping one tells which it "
      "is. Heights are pressure altitudes, the air is taken as average, and horizons by other "
      "methods differ by some 2 %. An aircraft's own antenna favours some directions: where "
      "all fly one airway this can look like gain.");
}

void cautions(Svg& html) {
  heading(html, "Cautions");
  html.open("ul");
  for (const char* text :
       {"Not for navigation or air traffic control.",
        "Working at height kills: use fall protection, and never work alone, in wind or near a "
        "thunderstorm.",
        "Keep mast, antenna and ladder farther from overhead power lines than they are long.",
        "A mast needs lightning protection and earthing as the local code requires; bonding and "
        "mains work belong to licensed people.",
        "Local codes on masts, buildings and radio apply."})
    html.leaf("li", {}, text);
  html.close();
}

}  // namespace roundel::present
