#include "daemon/feed/guess_fields.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <unordered_map>
#include <utility>

#include "daemon/feed/assemble.h"

namespace roundel::feed {
namespace {

constexpr double nearly_all = 0.95;

std::string quoted_list(const std::vector<std::string>& texts) {
  std::string list;
  for (std::size_t i = 0; i < texts.size() && i < 6; ++i)
    list += fmt::format("{}\"{}\"", i == 0 ? "" : ", ", texts[i]);
  return texts.size() > 6 ? list + " ..." : list;
}

struct TimeCandidate {
  std::size_t place;
  TimeKind kind;
  bool named;
};

// Times that come in order, to which out-of-order lines of a second or so are no contradiction.
bool is_increasing(const SampleTable& table, const Rows& rows, const TimeCandidate& candidate) {
  std::size_t n_back = 0, n = 0;
  double newest_s = 0;
  for (const std::size_t row : rows) {
    const auto now_s = time_s(table.at(row, candidate.place), candidate.kind);
    if (!now_s) continue;
    if (n++ > 0 && *now_s < newest_s - 5) ++n_back;
    newest_s = std::max(newest_s, *now_s);
  }
  return n > 0 && n_back * 20 <= n;
}

// The same to within a second on every line.
bool same_times(const SampleTable& table, const Rows& rows, const TimeCandidate& a,
                const TimeCandidate& b) {
  return std::all_of(rows.begin(), rows.end(), [&](std::size_t row) {
    const auto a_s = time_s(table.at(row, a.place), a.kind);
    const auto b_s = time_s(table.at(row, b.place), b.kind);
    return !a_s || !b_s || std::abs(*a_s - *b_s) <= 1;
  });
}

// Which zone it is, lines don't say.
void guess_zone(GuessState& state) {
  state.layout.zone = "UTC";
  state.guesses.push_back({"zone", "UTC", 0.5, "nothing tells which"});
  state.doubts.emplace_back(
      "the times lack their offset from UTC, and UTC was taken: for local times write their zone, "
      "like zone = \"Europe/Vienna\"");
}

// How a place's numbers change from one row of an aircraft to its next, where its position stays
// the same and where it changes, against the time between.
struct AgeEvidence {
  std::size_t n_same = 0, n_growing = 0;   // the position stays; the number grows
  std::size_t n_timed = 0, n_as_time = 0;  // there is a time as well; the number grows by as much
  std::size_t n_new = 0,
              n_new_as_time = 0;  // the position changes; it grows by as much all the same
};

AgeEvidence age_evidence(const GuessState& state, std::size_t place) {
  AgeEvidence evidence;
  std::unordered_map<std::uint32_t, std::size_t> latest;  // row
  const auto time_at = [&](std::size_t row) {
    return state.position.time
               ? time_s(state.table.at(row, state.position.time->place), state.position.time->kind)
               : std::nullopt;
  };
  for (const std::size_t row : state.rows) {
    const PositionPlaces& at = state.position.places;
    const auto address = address_of(state.table.at(row, at.address));
    if (!address || !state.table.at(row, place).number) continue;
    const auto [entry, is_first] = latest.emplace(*address, row);
    if (is_first) continue;
    const std::size_t before = std::exchange(entry->second, row);
    const auto same = [&](std::size_t where) {
      return state.table.at(row, where).text == state.table.at(before, where).text;
    };
    const double grown = *state.table.at(row, place).number - *state.table.at(before, place).number;
    const auto from_s = time_at(before), to_s = time_at(row);
    const double passed_s = from_s && to_s ? *to_s - *from_s : 0;
    const bool as_time = passed_s > 0 && std::abs(grown - passed_s) <= 0.2 + 0.1 * passed_s;
    if (same(at.latitude) && same(at.longitude)) {
      ++evidence.n_same;
      evidence.n_growing += grown > 0;
      evidence.n_timed += passed_s > 0;
      evidence.n_as_time += as_time;
    } else {
      ++evidence.n_new;
      evidence.n_new_as_time += as_time;
    }
  }
  return evidence;
}

}  // namespace

bool GuessState::is_used(std::size_t place) const {
  return std::find(used.begin(), used.end(), place) != used.end();
}

config::FieldAt GuessState::take(const std::string& field, std::size_t place, double confidence,
                                 std::string reason) {
  used.push_back(place);
  guesses.push_back({field, table.describe(place), confidence, std::move(reason)});
  return table.places[place].at;
}

void guess_time(GuessState& state) {
  std::vector<TimeCandidate> candidates;
  std::vector<std::size_t> dates, times_of_day, finer;
  for (std::size_t place = 0; place < state.table.places.size(); ++place) {
    if (state.is_used(place)) continue;
    const Traits traits = traits_of(state.table, place, state.rows);
    if (traits.n_present * 2 < state.rows.size()) continue;
    const auto words = words_of(state.table.places[place].label);
    const bool named = any_word(words, {"time", "timestamp", "ts", "t", "datetime", "epoch", "utc",
                                        "unix", "clock", "when"});
    const TimeCandidate candidate{place, time_kind(traits), named};
    if (candidate.kind != TimeKind::none && is_increasing(state.table, state.rows, candidate))
      candidates.push_back(candidate);
    if (traits.share(traits.n_dates) >= nearly_all) dates.push_back(place);
    if (traits.share(traits.n_times_of_day) >= nearly_all) times_of_day.push_back(place);
    // 2000 to 2100 in microseconds or nanoseconds.
    if (traits.share(traits.n_numbers) >= nearly_all && traits.min >= 946684800e6 &&
        traits.max <= 4102444800e9)
      finer.push_back(place);
  }
  const auto chosen = std::find_if(candidates.begin(), candidates.end(),
                                   [](const TimeCandidate& c) { return c.named; });
  if (!candidates.empty()) {
    const TimeCandidate& time = chosen != candidates.end() ? *chosen : candidates.front();
    const char* unit = time.kind == TimeKind::local          ? "times without an offset from UTC"
                       : time.kind == TimeKind::instants     ? "RFC 3339 times"
                       : time.kind == TimeKind::milliseconds ? "milliseconds since 1970"
                                                             : "seconds since 1970";
    state.layout.time =
        state.take("time", time.place, time.named ? 0.98 : 0.92,
                   fmt::format("{}, in order{}", unit, time.named ? ", and named so" : ""));
    if (time.kind == TimeKind::milliseconds)
      state.layout.time_unit = config::TimeUnit::milliseconds;
    if (time.kind == TimeKind::local) guess_zone(state);
    for (const TimeCandidate& other : candidates)
      if (other.place != time.place && !same_times(state.table, state.rows, time, other))
        state.doubts.push_back(fmt::format(
            "{} holds times as well, other ones than {}: which is the time of reception can't be "
            "told",
            state.table.describe(other.place), state.table.describe(time.place)));
    return;
  }
  const auto is_ambiguous = [&](std::size_t place) {  // day or month first?
    const std::string& text = state.table.at(state.rows.front(), place).text;
    return text.size() > 2 && text[2] == '/';
  };
  if (!dates.empty() && !times_of_day.empty() && !is_ambiguous(dates.front())) {
    state.layout.date = state.take("date", dates.front(), 0.92, "dates");
    state.layout.time =
        state.take("time", times_of_day.front(), 0.92, "times of day, beside a date");
    guess_zone(state);
    return;
  }
  if (!dates.empty() && !times_of_day.empty())
    state.doubts.push_back(
        fmt::format("{} holds dates in which day and month can't be told apart: they can't be "
                    "read; the time of "
                    "arrival serves",
                    state.table.describe(dates.front())));
  else if (!times_of_day.empty())
    state.doubts.push_back(fmt::format(
        "{} holds a time of day without a date, or a time without its offset from UTC: it can't be "
        "read; the time of arrival serves",
        state.table.describe(times_of_day.front())));
  else if (!finer.empty())
    state.doubts.push_back(fmt::format(
        "{} may be a time in microseconds or nanoseconds, which can't be read; the time of arrival "
        "serves",
        state.table.describe(finer.front())));
  else
    state.doubts.emplace_back("no time was found: the time of arrival serves");
}

void guess_age(GuessState& state) {
  struct Candidate {
    std::size_t place;
    double largest;
    bool by_time;
  };
  std::optional<Candidate> best;
  for (std::size_t place = 0; place < state.table.places.size(); ++place) {
    if (state.is_used(place) || state.table.places[place].at.outside) continue;
    const Traits traits = traits_of(state.table, place, state.rows);
    if (traits.n_numbers * 10 < state.rows.size() * 8 || traits.min < -1 || traits.max > 1e5 ||
        traits.n_distinct < 3)
      continue;
    const AgeEvidence seen = age_evidence(state, place);
    if (seen.n_same < 8 || seen.n_new_as_time * 2 > seen.n_new) continue;
    const bool by_time = seen.n_timed >= 8 && seen.n_as_time * 10 >= seen.n_timed * 9;
    const bool named = any_word(words_of(state.table.places[place].label),
                                {"age", "since", "seen", "old", "ago", "stale"});
    if (!by_time && !(named && seen.n_growing * 10 >= seen.n_same * 9)) continue;
    // A message without a position makes an aircraft's age less, not its position's.
    if (!best || traits.max > best->largest) best = Candidate{place, traits.max, by_time};
  }
  if (best)
    state.layout.age =
        state.take("age_s", best->place, best->by_time ? 0.95 : 0.75,
                   best->by_time ? "grows with the time as long as the position stays the same"
                                 : "grows as long as the position stays the same, and named so");
}

void guess_signal(GuessState& state) {
  struct Candidate {
    std::size_t place;
    bool named;
  };
  std::optional<Candidate> best;
  std::size_t n_alike = 0;
  for (std::size_t place = 0; place < state.table.places.size(); ++place) {
    if (state.is_used(place)) continue;
    const Traits traits = traits_of(state.table, place, state.rows);
    if (traits.n_numbers * 2 < state.rows.size()) continue;
    const bool named =
        any_word(words_of(state.table.places[place].label),
                 {"signal", "sig", "rssi", "dbfs", "power", "strength", "dbm", "db"});
    if (traits.max > 0 || traits.min < -120 || traits.n_negative * 10 < traits.n_numbers * 9) {
      if (named)
        state.doubts.push_back(
            fmt::format("{} is named like a signal level, but holds {} to {}: dBFS are at most 0; "
                        "it is left out",
                        state.table.describe(place), traits.min, traits.max));
      continue;
    }
    // Few values, or steps of 25 or 64, are those of another quantity that happens to be negative.
    if (!named && (traits.n_distinct < 5 || traits.n_steps_of_25 * 2 > traits.n_numbers ||
                   traits.n_steps_of_64 * 2 > traits.n_numbers || traits.min < -60))
      continue;
    ++n_alike;
    if (!best || (named && !best->named)) best = Candidate{place, named};
  }
  if (!best) return;
  const Traits traits = traits_of(state.table, best->place, state.rows);
  state.layout.signal = state.take("signal_dbfs", best->place,
                                   best->named   ? 0.95
                                   : n_alike > 1 ? 0.5
                                                 : 0.7,
                                   fmt::format("small negative numbers, {} to {}{}", traits.min,
                                               traits.max, best->named ? ", and named so" : ""));
}

void guess_on_ground(GuessState& state) {
  std::vector<std::size_t> unnamed;
  const auto is_low = [&](std::size_t row) {
    if (!state.layout.altitude) return false;
    for (std::size_t place = 0; place < state.table.places.size(); ++place) {
      if (state.table.places[place].at != *state.layout.altitude) continue;
      const SampleValue& altitude = state.table.at(row, place);
      const double low = state.layout.altitude_unit == config::AltitudeUnit::m ? 1000 : 3000;
      return !altitude.number || *altitude.number < low;
    }
    return false;
  };
  for (std::size_t place = 0; place < state.table.places.size(); ++place) {
    if (state.is_used(place)) continue;
    const Traits traits = traits_of(state.table, place, state.rows);
    if (traits.n_present * 2 < state.rows.size() || traits.share(traits.n_flags) < 1) continue;
    const auto words = words_of(state.table.places[place].label);
    if (any_word(words, {"ground", "gnd", "surface", "onground"})) {
      state.layout.on_ground = state.take("on_ground", place, 0.95, "a flag, and named so");
      return;
    }
    if (any_word(words, {"airborne", "flying", "air"}))
      state.doubts.push_back(
          fmt::format("{} says which aircraft fly; a flag for those that don't is what could be "
                      "used, so it is left out",
                      state.table.describe(place)));
    else if (words.empty())
      unnamed.push_back(place);
  }
  for (const std::size_t place : unnamed) {
    std::size_t n_set = 0, n_set_low = 0, n_clear_high = 0;
    for (const std::size_t row : state.rows) {
      const SampleValue& value = state.table.at(row, place);
      if (!value.present()) continue;
      const bool set = value.number ? *value.number != 0 : value.text.find_first_of("tTyY") == 0;
      n_set += set;
      n_set_low += set && is_low(row);
      n_clear_high += !set && !is_low(row);
    }
    if (n_set >= 5 && n_set == n_set_low && n_clear_high >= 5) {
      state.layout.on_ground = state.take(
          "on_ground", place, 0.5,
          fmt::format("a flag set on {} lines, each with a low altitude or none", n_set));
      return;
    }
  }
  if (!unnamed.empty()) {
    std::vector<std::string> where;
    for (const std::size_t place : unnamed) where.push_back(state.table.describe(place));
    state.doubts.push_back(
        fmt::format("{} hold{} flags: whether one says \"on the ground\" can't be told",
                    fmt::join(where, ", "), where.size() == 1 ? "s" : ""));
  }
}

void guess_keep(GuessState& state) {
  const std::set<std::size_t> with_position(state.rows.begin(), state.rows.end());
  const std::size_t n_rows = state.table.rows.size();
  if (state.position.kind) {
    const KindOfLine& kind = *state.position.kind;
    state.layout.keep = {{state.table.places[kind.place].at, kind.values}};
    state.guesses.push_back({"keep", state.table.describe(kind.place), 0.9,
                             fmt::format("only lines with {} there hold positions at these places",
                                         quoted_list(kind.values))});
    return;
  }
  if (n_rows - with_position.size() < 3 || state.layout.carry_s > 0) return;
  for (const std::size_t place : places_of_kinds(state.table)) {
    if (state.is_used(place)) continue;
    struct Count {
      std::size_t with = 0, without = 0;
    };
    std::map<std::string, Count> kinds;
    for (std::size_t row = 0; row < n_rows; ++row) {
      Count& count = kinds[state.table.at(row, place).text];
      ++(with_position.count(row) != 0 ? count.with : count.without);
    }
    std::vector<std::string> kept, dropped;
    bool tells = true;
    for (const auto& [text, count] : kinds) {
      // Lines without a value there are of no kind; a kind seen once or twice may go either way.
      if (count.with > 0 && !text.empty())
        kept.push_back(text);
      else
        dropped.push_back(text);
      tells = tells && (count.with == 0 || (!text.empty() && count.without * 10 <= count.with));
    }
    if (!tells || kept.empty() || dropped.empty()) continue;
    state.layout.keep = {{state.table.places[place].at, kept}};
    state.used.push_back(place);
    state.guesses.push_back(
        {"keep", state.table.describe(place), 0.85,
         fmt::format("lines with {} there have positions, those with {} have none",
                     quoted_list(kept), quoted_list(dropped))});
    return;
  }
}

void guess_missing(GuessState& state) {
  std::set<std::string> missing;
  const auto look = [&](const std::optional<config::FieldAt>& at, double limit) {
    if (!at) return;
    for (std::size_t place = 0; place < state.table.places.size(); ++place) {
      if (state.table.places[place].at != *at) continue;
      const Traits traits = traits_of(state.table, place, all_rows(state.table));
      if (state.layout.keep.empty() && traits.texts.size() <= 4) {
        for (const auto& [text, count] : traits.texts)
          if (count >= 2 && text.size() <= 16 && is_utf8(text) && !says_ground(text))
            missing.insert(text);
      }
      std::map<std::string, std::size_t> beyond;
      for (const auto& row : state.table.rows)
        if (row[place].number && std::abs(*row[place].number) > limit) ++beyond[row[place].text];
      if (state.layout.keep.empty() && beyond.size() == 1 && beyond.begin()->second >= 2)
        missing.insert(beyond.begin()->first);
    }
  };
  look(state.layout.latitude, 180);
  look(state.layout.longitude, 180);
  look(state.layout.altitude, 100000);
  look(state.layout.signal, 200);
  if (missing.empty()) return;
  state.layout.missing.assign(missing.begin(), missing.end());
  state.guesses.push_back({"missing", quoted_list(state.layout.missing), 0.8,
                           "recurs where a number is expected, and is none that could be meant"});
}

namespace {

// Names and values for positions that came over a network, or from a station on the ground.
bool sounds_unheard(std::string_view text) {
  return any_word(words_of(text), {"mlat", "multilateration", "network", "computed", "calculated",
                                   "estimated", "derived", "extrapolated", "relayed", "relay",
                                   "rebroadcast", "predicted"});
}

void add_keep(GuessState& state, std::size_t place, config::Keep keep, double confidence,
              std::string reason) {
  keep.at = state.table.places[place].at;
  state.layout.keep.push_back(std::move(keep));
  state.guesses.push_back({"keep", state.table.describe(place), confidence, std::move(reason)});
}

// A list that names the position's own fields says something of where they come from.
bool keep_by_list(GuessState& state, std::size_t place) {
  std::set<std::string> tokens;
  for (const std::size_t field :
       {state.position.places.latitude, state.position.places.longitude}) {
    const std::string& label = state.table.places[field].label;
    tokens.insert(label.substr(label.rfind('/') + 1));
  }
  std::set<std::string> named;
  std::size_t n_rows = 0;
  for (const std::size_t row : state.rows) {
    const SampleValue& value = state.table.at(row, place);
    if (value.kind != FieldValue::Kind::list) continue;
    bool names_any = false;
    for (const std::string& token : tokens) {
      if ((" " + value.text + " ").find(" " + token + " ") == std::string::npos) continue;
      named.insert(token);
      names_any = true;
    }
    n_rows += names_any;
  }
  if (named.empty() || n_rows * 2 > state.rows.size()) return false;
  const std::string where = state.table.describe(place);
  add_keep(state, place, {{}, {named.begin(), named.end()}, config::KeepTest::lacks}, 0.7,
           fmt::format("names the position's fields on {} lines", n_rows));
  state.doubts.push_back(fmt::format(
      "{} lists fields by name, the position's among them on {} lines: most likely because these "
      "were not heard but computed; they are kept out. Take this keep away if the list means "
      "something else",
      where, n_rows));
  return true;
}

void keep_by_word(GuessState& state, std::size_t place) {
  const bool is_named = sounds_unheard(state.table.places[place].label);
  std::map<std::string, std::size_t> values;
  std::size_t n_present = 0;
  for (const std::size_t row : state.rows) {
    const SampleValue& value = state.table.at(row, place);
    if (!value.present()) continue;
    ++n_present;
    if (values.size() <= 12) ++values[value.text];
  }
  if (values.empty() || values.size() > 12) return;
  std::vector<std::string> heard, others;
  for (const auto& [text, count] : values) {
    const bool is_no = text == "false" || text == "0" || text == "no" || text == "n" || text == "f";
    const bool is_computed = is_named ? !is_no : sounds_unheard(text);
    (is_computed ? others : heard).push_back(text);
  }
  if (others.empty()) return;
  const std::string where = state.table.describe(place);
  if (heard.empty() && n_present * 2 < state.rows.size())
    add_keep(state, place, {{}, {}, config::KeepTest::absent}, 0.7,
             "there only on some lines, and named like positions that are not heard");
  else if (!heard.empty() && n_present == state.rows.size())
    add_keep(state, place, {{}, heard}, 0.7,
             fmt::format("{} there sounds like a position that is not heard", quoted_list(others)));
  else
    return;
  state.doubts.push_back(
      fmt::format("{} seems to mark positions that were computed by a network or sent from the "
                  "ground, not heard: these are kept out",
                  where));
}

}  // namespace

void guess_origin(GuessState& state) {
  std::size_t n_marked = 0;
  std::string example;
  for (const auto& row : state.table.rows) {
    const SampleValue& value = row[state.position.places.address];
    if (value.text.size() != 7 || address_of(value) ||
        !row[state.position.places.latitude].present())
      continue;
    ++n_marked;
    example = value.text;
  }
  if (n_marked > 0)
    state.doubts.push_back(fmt::format(
        "{} lines have addresses like \"{}\", which are no 24-bit ones: most likely made up on the "
        "ground for positions that were not heard; they are counted as bad_address and left out",
        n_marked, example));
  for (std::size_t place = 0; place < state.table.places.size(); ++place) {
    if (state.is_used(place) || state.table.places[place].at.outside) continue;
    if (!keep_by_list(state, place)) keep_by_word(state, place);
  }
}

}  // namespace roundel::feed
