// roundel trial: what was mounted when.
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <ctime>
#include <memory>
#include <nlohmann/json.hpp>

#include "analysis/program/command.h"
#include "analysis/program/text_table.h"
#include "roundel/schema/store.h"
#include "roundel/time.h"

namespace roundel::program {
namespace {

using Json = nlohmann::ordered_json;
using schema::Store;
using schema::Trial;

struct TrialOptions {
  std::string file, feed, antenna, receiver, mount, at, note, text;
  std::optional<double> rotation_deg;
  std::optional<schema::Id> trial;
  bool json = false;
};

void print(const std::string& text) { std::fputs(text.c_str(), stdout); }
void print(const Json& json) {
  print(json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n");
}

std::string time_text(std::int64_t time_s) { return format_time(static_cast<double>(time_s)); }

Json to_json(const Trial& trial) {
  return {{"trial", trial.id},
          {"feed", trial.feed},
          {"antenna", trial.antenna},
          {"receiver", trial.receiver},
          {"mount", trial.mount},
          {"rotation_deg", trial.rotation_deg},
          {"start", time_text(trial.start_s)},
          {"stop", trial.stop_s ? Json(time_text(*trial.stop_s)) : Json(nullptr)},
          {"note", trial.note}};
}

Json to_json(const schema::Note& note) {
  return {{"time", time_text(note.time_s)},
          {"trial", note.trial ? Json(*note.trial) : Json(nullptr)},
          {"text", note.text}};
}

std::string mounted(const Trial& trial) {
  return fmt::format("{} on {} at {:g} deg, receiver {}", trial.antenna, trial.mount,
                     trial.rotation_deg, trial.receiver);
}

// To write trials into; a path that is mistyped must not become a new database.
Result<Store> open_existing(const std::string& file) {
  if (auto readable = Store::open(file, Store::Access::read); !readable)
    return tl::unexpected(readable.error());
  return Store::open(file, Store::Access::write);
}

// The feed that is meant: as asked, or the only one there is.
Result<schema::Named> choose_feed(const Store& store, const std::string& asked) {
  const auto feeds = store.feeds();
  if (!feeds) return tl::unexpected(feeds.error());
  std::string known;
  for (const schema::Named& feed : *feeds) {
    if (feed.name == asked || (asked.empty() && feeds->size() == 1)) return feed;
    known += (known.empty() ? "" : ", ") + feed.name;
  }
  if (feeds->empty())
    return fail(Errc::not_found, "no feed is known yet", "--feed", "record first");
  if (asked.empty())
    return fail(Errc::bad_usage, "several feeds are known", "--feed", "name one of: " + known);
  return fail(Errc::not_found, fmt::format("there is no feed \"{}\"", asked), "--feed",
              "the database knows: " + known);
}

// The time asked for, or now on the feed's own clock: trials are in feed time, and a recording that
// is being replayed has a clock of its own.
Result<std::int64_t> time_or_now(const Store& store, const std::string& asked,
                                 std::optional<schema::Id> feed) {
  if (!asked.empty()) {
    const auto time_s = parse_time(asked);
    if (!time_s) return fail(Errc::bad_usage, time_s.error().what, "--at", time_s.error().remedy);
    return static_cast<std::int64_t>(std::floor(*time_s));
  }
  auto now_s = static_cast<double>(std::time(nullptr));
  if (feed) {
    const auto clock = store.clock(*feed);
    if (!clock) return tl::unexpected(clock.error());
    if (*clock) now_s += (*clock)->feed_time_s - (*clock)->arrival_s;
  }
  return static_cast<std::int64_t>(std::floor(now_s));
}

// Cells of a trial from a time on: what it loses when it is stopped there.
Result<std::int64_t> cells_since(const Store& store, schema::Id trial, std::int64_t from_s) {
  schema::Selection which;
  which.trials = {trial};
  which.from_s = static_cast<double>(from_s);
  std::int64_t n_cells = 0;
  const auto counted = store.each_cell(which, [&](const schema::Cell&) { return ++n_cells, true; });
  if (!counted) return tl::unexpected(counted.error());
  return n_cells;
}

std::string lost_text(schema::Id trial, std::int64_t n_cells) {
  if (n_cells == 0) return {};
  return fmt::format(
      "{} cells that were recorded after that under trial {} are kept, but no longer count.\n",
      grouped(n_cells), trial);
}

Result<int> list(const TrialOptions& options) {
  const auto store = Store::open(options.file, Store::Access::read);
  if (!store) return tl::unexpected(store.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  const auto notes = store->notes();
  if (!notes) return tl::unexpected(notes.error());

  if (options.json) {
    Json json{{"trials", Json::array()}, {"notes", Json::array()}};
    for (const Trial& trial : *trials) json["trials"].push_back(to_json(trial));
    for (const schema::Note& note : *notes) json["notes"].push_back(to_json(note));
    print(json);
    return 0;
  }
  if (trials->empty()) print(std::string("No trials yet; see roundel trial DB start --help.\n"));
  constexpr auto left = TextTable::Align::left;
  TextTable table({{"trial"},
                   {"feed", left},
                   {"antenna", left},
                   {"receiver", left},
                   {"mount", left},
                   {"rotation"},
                   {"start", left},
                   {"stop", left},
                   {"note", left}});
  for (const Trial& trial : *trials)
    table.add({std::to_string(trial.id), trial.feed, trial.antenna, trial.receiver, trial.mount,
               fmt::format("{:g} deg", trial.rotation_deg), time_text(trial.start_s),
               trial.stop_s ? time_text(*trial.stop_s) : "running", trial.note});
  if (!table.empty()) print(table.text());
  TextTable remarks({{"time", left}, {"trial"}, {"note", left}});
  for (const schema::Note& note : *notes)
    remarks.add(
        {time_text(note.time_s), note.trial ? std::to_string(*note.trial) : "-", note.text});
  if (!remarks.empty()) print("\n" + remarks.text());
  return 0;
}

// What is not said stays as it is on the feed.
Result<Trial> fill_in(const TrialOptions& options, const std::vector<Trial>& trials,
                      const std::string& feed) {
  Trial trial;
  for (const Trial& earlier : trials)
    if (earlier.feed == feed) trial = earlier;
  trial.id = 0;
  trial.feed = feed;
  trial.stop_s.reset();
  trial.note = options.note;
  if (!options.antenna.empty()) trial.antenna = options.antenna;
  if (!options.receiver.empty()) trial.receiver = options.receiver;
  if (!options.mount.empty()) trial.mount = options.mount;
  if (options.rotation_deg) trial.rotation_deg = *options.rotation_deg;
  for (const auto& [value, option] : {std::pair{&trial.antenna, "--antenna"},
                                      {&trial.receiver, "--receiver"},
                                      {&trial.mount, "--mount"}})
    if (value->empty())
      return fail(Errc::bad_usage,
                  fmt::format("feed \"{}\" has no trial yet to take it from", feed), option,
                  "give its name");
  return trial;
}

// "new: antenna spidr": a name met for the first time may be a slip of the pen.
Result<std::string> new_names(const Store& store, const Trial& trial) {
  std::string text;
  const auto look = [&](Result<std::vector<schema::Named>> known, const std::string& name,
                        const char* what) -> Result<void> {
    if (!known) return tl::unexpected(known.error());
    for (const schema::Named& row : *known)
      if (row.name == name) return {};
    text += fmt::format("{}{} {}", text.empty() ? "New in this database: " : ", ", what, name);
    return {};
  };
  for (const Result<void>& looked : {look(store.antennas(), trial.antenna, "antenna"),
                                     look(store.receivers(), trial.receiver, "receiver"),
                                     look(store.mounts(), trial.mount, "mount")})
    if (!looked) return tl::unexpected(looked.error());
  return text.empty() ? text : text + ".\n";
}

Result<int> start(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  const auto feed = choose_feed(*store, options.feed);
  if (!feed) return tl::unexpected(feed.error());
  auto trial = fill_in(options, *trials, feed->name);
  if (!trial) return tl::unexpected(trial.error());
  const auto at_s = time_or_now(*store, options.at, feed->id);
  if (!at_s) return tl::unexpected(at_s.error());
  trial->start_s = *at_s;

  const Trial* ended = nullptr;
  std::int64_t lost = 0;
  for (const Trial& earlier : *trials)
    if (earlier.feed == feed->name && !earlier.stop_s) ended = &earlier;
  if (ended) {
    const auto counted = cells_since(*store, ended->id, *at_s);
    if (!counted) return tl::unexpected(counted.error());
    lost = *counted;
  }
  const auto unknown = new_names(*store, *trial);
  if (!unknown) return tl::unexpected(unknown.error());
  const auto started = store->start_trial(*trial);
  if (!started) return tl::unexpected(started.error());
  if (options.json) {
    print(to_json(*started));
    return 0;
  }
  print(fmt::format("Trial {} runs on feed {} from {}: {}.\n{}", started->id, started->feed,
                    time_text(started->start_s), mounted(*started), *unknown));
  if (ended) print(fmt::format("Trial {} ends there.\n{}", ended->id, lost_text(ended->id, lost)));
  return 0;
}

Result<int> stop(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto feed = choose_feed(*store, options.feed);
  if (!feed) return tl::unexpected(feed.error());
  const auto at_s = time_or_now(*store, options.at, feed->id);
  if (!at_s) return tl::unexpected(at_s.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  std::int64_t lost = 0;
  for (const Trial& trial : *trials) {
    if (trial.feed != feed->name || trial.stop_s) continue;
    const auto counted = cells_since(*store, trial.id, *at_s);
    if (!counted) return tl::unexpected(counted.error());
    lost = *counted;
  }
  const auto stopped = store->stop_trial(feed->name, *at_s);
  if (!stopped) return tl::unexpected(stopped.error());
  if (options.json)
    print(to_json(*stopped));
  else
    print(fmt::format("Trial {} on feed {} ends at {}.\n{}", stopped->id, stopped->feed,
                      time_text(*stopped->stop_s), lost_text(stopped->id, lost)));
  return 0;
}

Result<int> note(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto at_s = time_or_now(*store, options.at, std::nullopt);
  if (!at_s) return tl::unexpected(at_s.error());
  schema::Note remark{0, *at_s, options.trial, options.text};
  if (!remark.trial) {
    // The trial of that moment, when there is just one.
    const auto trials = store->trials();
    if (!trials) return tl::unexpected(trials.error());
    int n_trials = 0;
    for (const Trial& trial : *trials)
      if (trial.start_s <= *at_s && (!trial.stop_s || *at_s < *trial.stop_s)) {
        remark.trial = trial.id;
        ++n_trials;
      }
    if (n_trials != 1) remark.trial.reset();
  }
  const auto added = store->add_note(remark);
  if (!added) return tl::unexpected(added.error());
  if (options.json)
    print(to_json(remark));
  else
    print(fmt::format("Noted at {}{}.\n", time_text(remark.time_s),
                      remark.trial ? fmt::format(" for trial {}", *remark.trial) : ""));
  return 0;
}

}  // namespace

void add_trial(CLI::App& app, Run& run) {
  const auto options = std::make_shared<TrialOptions>();
  CLI::App* command = app.add_subcommand("trial", "what was mounted when");
  command->add_option("DB", options->file, "the database")->required();
  command->require_subcommand(1);
  const auto add = [&](const char* name, const char* help,
                       Result<int> (*act)(const TrialOptions&)) {
    CLI::App* action = command->add_subcommand(name, help);
    action->add_flag("--json", options->json, "print JSON");
    action->callback([options, act, &run] { run = [options, act] { return act(*options); }; });
    return action;
  };

  add("list", "all trials and notes", list);

  CLI::App* starting =
      add("start", "begin a trial; what is not said stays as in the feed's last trial", start);
  starting->add_option("--feed", options->feed, "the feed (needed when there are several)");
  starting->add_option("--antenna", options->antenna, "the antenna that is on now");
  starting->add_option("--receiver", options->receiver, "the receiver it is on");
  starting->add_option("--mount", options->mount, "where it is mounted");
  starting->add_option("--rotation-deg", options->rotation_deg,
                       "how far the antenna is turned, clockwise, 0 to 360");
  starting->add_option("--at", options->at, "since when (default: now)");
  starting->add_option("--note", options->note, "a remark kept with the trial");

  CLI::App* stopping = add("stop", "end the trial that runs on a feed", stop);
  stopping->add_option("--feed", options->feed, "the feed (needed when there are several)");
  stopping->add_option("--at", options->at, "when (default: now)");

  CLI::App* noting = add("note", "keep a remark", note);
  noting->add_option("TEXT", options->text, "the remark")->required();
  noting->add_option("--at", options->at, "when (default: now)");
  noting->add_option("--trial", options->trial,
                     "the trial it is about (default: the one of that time)");
}

}  // namespace roundel::program
