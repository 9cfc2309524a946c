// roundel trial: what was mounted when.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <memory>
#include <utility>

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
  std::string from, to, part;
  bool is_new = false;
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

// Cells follow their time, unless a recorder runs, which does that itself.
Result<std::string> place_cells(const std::string& file) {
  auto store = Store::open(file, Store::Access::record);
  if (!store && store.error().code == Errc::busy)
    return std::string(
        "roundeld is recording: it gives the cells to the trial of their time, those of aircraft "
        "still heard once their flights end.\n");
  if (!store) return tl::unexpected(store.error());
  const auto next = store->next_flight_id();
  if (!next) return tl::unexpected(next.error());
  const auto placed = store->place_cells(*next);
  if (!placed) return tl::unexpected(placed.error());
  if (placed->cells == 0) return std::string();
  return fmt::format("{} cells went to the trial of their time.\n", grouped(placed->cells));
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

// A name met for the first time may be a slip of the pen.
Result<void> ask_for_new_names(const Store& store, const Trial& trial, bool may_be_new) {
  if (may_be_new) return {};
  const auto look = [&](Result<std::vector<schema::Named>> known, const std::string& name,
                        const char* what) -> Result<void> {
    if (!known) return tl::unexpected(known.error());
    std::string names;
    for (const schema::Named& row : *known) {
      if (row.name == name) return {};
      names += (names.empty() ? "" : ", ") + row.name;
    }
    if (names.empty()) return {};
    return fail(Errc::bad_usage, fmt::format("there is no {} \"{}\" yet", what, name),
                fmt::format("--{}", what),
                fmt::format("known are {}; for a new one add --new", names));
  };
  for (const Result<void>& looked : {look(store.antennas(), trial.antenna, "antenna"),
                                     look(store.receivers(), trial.receiver, "receiver"),
                                     look(store.mounts(), trial.mount, "mount")})
    if (!looked) return looked;
  return {};
}

// What was changed, then where the cells went.
Result<int> tell(const TrialOptions& options, const Trial& trial, const std::string& text) {
  const auto placed = place_cells(options.file);
  if (!placed) return tl::unexpected(placed.error());
  print(options.json ? present::trial_json(trial) : text + *placed);
  return 0;
}

std::string span_text(const Trial& trial) {
  return fmt::format("from {} to {}", time_text(trial.start_s),
                     trial.stop_s ? time_text(*trial.stop_s) : "now");
}

Result<int> start(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto trial = on_command_line(trial::trial_to_start(*store, options.change, now_s()));
  if (!trial) return tl::unexpected(trial.error());
  const auto trials = store->trials();
  if (!trials) return tl::unexpected(trials.error());
  const Trial* ended = nullptr;
  for (const Trial& earlier : *trials)
    if (earlier.feed == trial->feed && !earlier.stop_s) ended = &earlier;
  if (auto ok = ask_for_new_names(*store, *trial, options.is_new); !ok)
    return tl::unexpected(ok.error());
  const auto started = store->start_trial(*trial);
  if (!started) return tl::unexpected(started.error());
  return tell(options, *started,
              fmt::format("Trial {} runs on feed {} from {}: {}.\n{}", started->id, started->feed,
                          time_text(started->start_s), mounted(*started),
                          ended ? fmt::format("Trial {} ends there.\n", ended->id) : ""));
}

Result<int> stop(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto stop = on_command_line(trial::trial_to_stop(*store, options.change, now_s()));
  if (!stop) return tl::unexpected(stop.error());
  const auto stopped = store->stop_trial(stop->feed, stop->at_s);
  if (!stopped) return tl::unexpected(stopped.error());
  return tell(options, *stopped,
              fmt::format("Trial {} on feed {} ends at {}.\nWhat was recorded after that is kept, "
                          "and counts where a trial covers its time.\n",
                          stopped->id, stopped->feed, time_text(*stopped->stop_s)));
}

// The trial that was named, with what else was said of it.
Result<Trial> changed_trial(const Store& store, const TrialOptions& options) {
  const auto trials = store.trials();
  if (!trials) return tl::unexpected(trials.error());
  const auto found = std::ranges::find(*trials, *options.change.trial, &Trial::id);
  if (found == trials->end())
    return fail(Errc::not_found, fmt::format("there is no trial {}", *options.change.trial),
                options.file, "see roundel trial list");
  Trial trial = *found;
  const trial::Change& change = options.change;
  if (!change.antenna.empty()) trial.antenna = change.antenna;
  if (!change.receiver.empty()) trial.receiver = change.receiver;
  if (!change.mount.empty()) trial.mount = change.mount;
  if (change.rotation_deg) trial.rotation_deg = *change.rotation_deg;
  if (!change.text.empty()) trial.note = change.text;
  if (auto ok = ask_for_new_names(store, trial, options.is_new); !ok)
    return tl::unexpected(ok.error());
  return trial;
}

Result<int> split(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  auto later = changed_trial(*store, options);
  if (!later) return tl::unexpected(later.error());
  later->note = options.change.text;
  const auto at_s =
      on_command_line(trial::choose_time(*store, options.change.at, now_s(), std::nullopt));
  if (!at_s) return tl::unexpected(at_s.error());
  const auto made = store->split_trial(*options.change.trial, *at_s, *later);
  if (!made) return tl::unexpected(made.error());
  return tell(options, *made,
              fmt::format("Trial {} ends at {}. Trial {} is {}: {}.\n", *options.change.trial,
                          time_text(*at_s), made->id, span_text(*made), mounted(*made)));
}

Result<int> change(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  auto wanted = changed_trial(*store, options);
  if (!wanted) return tl::unexpected(wanted.error());
  for (const auto& [said, option] :
       {std::pair(&options.from, "--from"), std::pair(&options.to, "--to")}) {
    if (said->empty()) continue;
    const auto time_s = parse_time(*said);
    if (!time_s) return fail(Errc::bad_usage, time_s.error().what, option, time_s.error().remedy);
    const auto whole_s = static_cast<std::int64_t>(std::floor(*time_s));
    if (said == &options.from)
      wanted->start_s = whole_s;
    else
      wanted->stop_s = whole_s;
  }
  if (auto ok = store->change_trial(*wanted); !ok) return tl::unexpected(ok.error());
  return tell(
      options, *wanted,
      fmt::format("Trial {} is {}: {}.\n", wanted->id, span_text(*wanted), mounted(*wanted)));
}

Result<int> undo(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto kept = store->undo_trial(*options.change.trial);
  if (!kept) return tl::unexpected(kept.error());
  return tell(options, *kept,
              fmt::format("Trial {} is taken back. Trial {} is {}: {}.\n", *options.change.trial,
                          kept->id, span_text(*kept), mounted(*kept)));
}

Result<int> rename(const TrialOptions& options) {
  auto store = open_existing(options.file);
  if (!store) return tl::unexpected(store.error());
  const auto part = options.part == "antenna"    ? Store::Part::antenna
                    : options.part == "receiver" ? Store::Part::receiver
                                                 : Store::Part::mount;
  if (auto ok = store->rename(part, options.from, options.to); !ok)
    return tl::unexpected(ok.error());
  print(
      fmt::format("The {} {} is called {} in all trials. Where roundel.toml has the old name, "
                  "change it there as well.\n",
                  options.part, options.from, options.to));
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

  const auto take_equipment = [&](CLI::App* action) {
    action->add_option("--antenna", options->change.antenna, "the antenna");
    action->add_option("--receiver", options->change.receiver, "the receiver it is on");
    action->add_option("--mount", options->change.mount, "where it is mounted");
    action->add_option("--rotation-deg", options->change.rotation_deg,
                       "how far the antenna is turned, clockwise, 0 to 360");
    action->add_option("--note", options->change.text, "a remark kept with the trial");
    action->add_flag("--new", options->is_new, "a name not known yet is meant");
  };
  const auto take_trial = [&](CLI::App* action) {
    action->add_option("TRIAL", options->change.trial, "its number, see roundel trial list")
        ->required();
  };

  CLI::App* starting =
      add("start", "begin a trial; what is not said stays as in the feed's last trial", start);
  starting->add_option("--feed", options->change.feed, "the feed (needed when there are several)");
  take_equipment(starting);
  starting->add_option("--at", options->change.at, "since when (default: now)");

  CLI::App* stopping = add("stop", "end the trial that runs on a feed", stop);
  stopping->add_option("--feed", options->change.feed, "the feed (needed when there are several)");
  stopping->add_option("--at", options->change.at, "when (default: now)");

  CLI::App* splitting =
      add("split", "divide a trial: from a time on something else was mounted", split);
  take_trial(splitting);
  splitting->add_option("--at", options->change.at, "since when")->required();
  take_equipment(splitting);

  CLI::App* changing = add("change", "correct a trial; what is not said stays", change);
  take_trial(changing);
  take_equipment(changing);
  changing->add_option("--from", options->from, "when it began");
  changing->add_option("--to", options->to, "when it ended");

  take_trial(add("undo", "take a trial back: the one before it goes on in its place", undo));

  CLI::App* renaming = add("rename", "give an antenna, receiver or mount another name", rename);
  renaming->add_option("WHAT", options->part, "antenna, receiver or mount")
      ->required()
      ->check(CLI::IsMember({"antenna", "receiver", "mount"}));
  renaming->add_option("OLD", options->from, "the name it has")->required();
  renaming->add_option("NEW", options->to, "the name it gets; a known one: the two become one")
      ->required();

  CLI::App* noting = add("note", "keep a remark", note);
  noting->add_option("TEXT", options->change.text, "the remark")->required();
  noting->add_option("--at", options->change.at, "when (default: now)");
  noting->add_option("--trial", options->change.trial,
                     "the trial it is about (default: the one of that time)");
}

}  // namespace roundel::program
