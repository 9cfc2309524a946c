#include "roundel/trial/change.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <utility>

#include "roundel/time.h"

namespace roundel::trial {

Result<schema::Named> choose_feed(const schema::Store& store, std::string_view asked) {
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  std::string known;
  for (const schema::Named& feed : *feeds) {
    if (feed.name == asked || (asked.empty() && feeds->size() == 1)) return feed;
    known += (known.empty() ? "" : ", ") + feed.name;
  }
  if (feeds->empty()) return fail(Errc::not_found, "no feed is known yet", "feed", "record first");
  if (asked.empty())
    return fail(Errc::bad_usage, "several feeds are known", "feed", "name one of: " + known);
  return fail(Errc::not_found, fmt::format("there is no feed \"{}\"", asked), "feed",
              "the database knows: " + known);
}

Result<std::int64_t> choose_time(const schema::Store& store, std::string_view asked, double now_s,
                                 std::optional<schema::Id> feed) {
  if (!asked.empty()) {
    const auto time_s = parse_time(asked);
    if (!time_s) return fail(Errc::bad_usage, time_s.error().what, "at", time_s.error().remedy);
    return static_cast<std::int64_t>(std::floor(*time_s));
  }
  if (feed) {
    const auto clock = store.clock(*feed);
    if (!clock) return tl::unexpected(clock.error());
    if (*clock) now_s += (*clock)->feed_time_s - (*clock)->arrival_s;
  }
  return static_cast<std::int64_t>(std::floor(now_s));
}

Result<schema::Trial> trial_to_start(const schema::Store& store, const Change& change,
                                     double now_s) {
  const auto feed = choose_feed(store, change.feed);
  if (!feed) return tl::unexpected(feed.error());
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());

  schema::Trial trial;
  for (const schema::Trial& earlier : *trials)
    if (earlier.feed == feed->name) trial = earlier;
  trial.id = 0;
  trial.feed = feed->name;
  trial.stop_s.reset();
  trial.note = change.text;
  if (!change.antenna.empty()) trial.antenna = change.antenna;
  if (!change.receiver.empty()) trial.receiver = change.receiver;
  if (!change.mount.empty()) trial.mount = change.mount;
  if (change.rotation_deg) trial.rotation_deg = *change.rotation_deg;
  const std::array<std::pair<const std::string&, const char*>, 3> needed{
      {{trial.antenna, "antenna"}, {trial.receiver, "receiver"}, {trial.mount, "mount"}}};
  for (const auto& [name, key] : needed)
    if (name.empty())
      return fail(Errc::bad_usage,
                  fmt::format("feed \"{}\" has no trial yet to take it from", feed->name), key,
                  "give its name");

  const auto at_s = choose_time(store, change.at, now_s, feed->id);
  if (!at_s) return tl::unexpected(at_s.error());
  trial.start_s = *at_s;
  return trial;
}

Result<Stop> trial_to_stop(const schema::Store& store, const Change& change, double now_s) {
  const auto feed = choose_feed(store, change.feed);
  if (!feed) return tl::unexpected(feed.error());
  const auto at_s = choose_time(store, change.at, now_s, feed->id);
  if (!at_s) return tl::unexpected(at_s.error());
  return Stop{feed->name, *at_s};
}

Result<schema::Note> note_to_add(const schema::Store& store, const Change& change, double now_s) {
  const auto at_s = choose_time(store, change.at, now_s, std::nullopt);
  if (!at_s) return tl::unexpected(at_s.error());
  schema::Note note{0, *at_s, change.trial, change.text};
  if (note.trial) return note;
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  int n_trials = 0;
  for (const schema::Trial& trial : *trials) {
    if (*at_s < trial.start_s || (trial.stop_s && *at_s >= *trial.stop_s)) continue;
    note.trial = trial.id;
    ++n_trials;
  }
  if (n_trials != 1) note.trial.reset();
  return note;
}

}  // namespace roundel::trial
