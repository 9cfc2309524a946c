// roundel trial: what was mounted when.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <memory>

#include "analysis/program/command.h"
#include "analysis/program/text_table.h"
#include "roundel/present/store_json.h"
#include "roundel/schema/store.h"
#include "roundel/time.h"
#include "roundel/trial/change.h"

namespace roundel::program {
namespace {

using schema::Store;
using schema::Trial;

struct TrialOptions {
  std::string file;
  trial::Change change;
  bool json = false;
};

void print(const std::string& text) { std::fputs(text.c_str(), stdout); }

// What is wrong with a member of Change is named as its option is.
template <class T>
Result<T> on_command_line(Result<T> result) {
  constexpr std::array<std::string_view, 7> members{"feed",         "antenna", "receiver", "mount",
                                                    "rotation_deg", "at",      "trial"};
  if (result) return result;
  Error error = result.error();
  if (std::ranges::find(members, error.where) == members.end()) return result;
  std::ranges::replace(error.where, '_', '-');
  error.where.insert(0, "--");
  return tl::unexpected(std::move(error));
}

std::string time_text(std::int64_t time_s) { return format_time(static_cast<double>(time_s)); }

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
  if (options.json) {
    const auto json = present::trials_json(*store, {});
    if (!json) return tl::unexpected(json.error());
    print(*json);
    return 0;
  }
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  const auto notes = store->notes();
  if (!notes) return tl::unexpected(notes.error());
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
  const auto trial = on_command_line(trial::trial_to_start(*store, options.change, now_s()));
  if (!trial) return tl::unexpected(trial.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());

  const Trial* ended = nullptr;
  std::int64_t lost = 0;
  for (const Trial& earlier : *trials)
    if (earlier.feed == trial->feed && !earlier.stop_s) ended = &earlier;
  if (ended) {
    const auto counted = cells_since(*store, ended->id, trial->start_s);
    if (!counted) return tl::unexpected(counted.error());
    lost = *counted;
  }
  const auto unknown = new_names(*store, *trial);
  if (!unknown) return tl::unexpected(unknown.error());
  const auto started = store->start_trial(*trial);
  if (!started) return tl::unexpected(started.error());
  if (options.json) {
    print(present::trial_json(*started));
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
  const auto stop = on_command_line(trial::trial_to_stop(*store, options.change, now_s()));
  if (!stop) return tl::unexpected(stop.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  std::int64_t lost = 0;
  for (const Trial& trial : *trials) {
    if (trial.feed != stop->feed || trial.stop_s) continue;
    const auto counted = cells_since(*store, trial.id, stop->at_s);
    if (!counted) return tl::unexpected(counted.error());
    lost = *counted;
  }
  const auto stopped = store->stop_trial(stop->feed, stop->at_s);
  if (!stopped) return tl::unexpected(stopped.error());
  if (options.json)
    print(present::trial_json(*stopped));
  else
    print(fmt::format("Trial {} on feed {} ends at {}.\n{}", stopped->id, stopped->feed,
                      time_text(*stopped->stop_s), lost_text(stopped->id, lost)));
  return 0;
}

Result<int> note(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  auto remark = on_command_line(trial::note_to_add(*store, options.change, now_s()));
  if (!remark) return tl::unexpected(remark.error());
  const auto added = store->add_note(*remark);
  if (!added) return tl::unexpected(added.error());
  remark->id = *added;
  if (options.json)
    print(present::note_json(*remark));
  else
    print(fmt::format("Noted at {}{}.\n", time_text(remark->time_s),
                      remark->trial ? fmt::format(" for trial {}", *remark->trial) : ""));
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
  starting->add_option("--feed", options->change.feed, "the feed (needed when there are several)");
  starting->add_option("--antenna", options->change.antenna, "the antenna that is on now");
  starting->add_option("--receiver", options->change.receiver, "the receiver it is on");
  starting->add_option("--mount", options->change.mount, "where it is mounted");
  starting->add_option("--rotation-deg", options->change.rotation_deg,
                       "how far the antenna is turned, clockwise, 0 to 360");
  starting->add_option("--at", options->change.at, "since when (default: now)");
  starting->add_option("--note", options->change.text, "a remark kept with the trial");

  CLI::App* stopping = add("stop", "end the trial that runs on a feed", stop);
  stopping->add_option("--feed", options->change.feed, "the feed (needed when there are several)");
  stopping->add_option("--at", options->change.at, "when (default: now)");

  CLI::App* noting = add("note", "keep a remark", note);
  noting->add_option("TEXT", options->change.text, "the remark")->required();
  noting->add_option("--at", options->change.at, "when (default: now)");
  noting->add_option("--trial", options->change.trial,
                     "the trial it is about (default: the one of that time)");
}

}  // namespace roundel::program
