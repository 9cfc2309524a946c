// roundeld load: records from files, as fast as it goes.
#include <fmt/format.h>
#include <malloc.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "analysis/config/checked_table.h"
#include "daemon/feed/file_source.h"
#include "daemon/feed/read_ahead.h"
#include "daemon/program/command.h"
#include "daemon/program/progress.h"
#include "daemon/record/recording.h"
#include "daemon/record/trial_choice.h"
#include "roundel/config/config.h"

namespace roundel::program {
namespace {

using Json = nlohmann::ordered_json;
using Clock = std::chrono::steady_clock;

struct LoadCommand {
  std::string config, feed;
  std::optional<std::string> antenna, receiver, mount;
  std::optional<double> rotation_deg;
  std::vector<std::string> files;
  bool json = false, progress = false;
};

volatile std::sig_atomic_t is_interrupted = 0;
void interrupt(int) { is_interrupted = 1; }

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

constexpr std::chrono::milliseconds patience{500};

// Batches of megabytes come and go, between threads. Given back to the system each time, their
// memory would have to be got anew page by page: a fifth of the time that a load spends in the
// kernel. Larger blocks than these are of a sky so full that they count.
void keep_freed_memory() {
#ifdef __GLIBC__
  constexpr int much = 8 * 1024 * 1024, large = 4 * 1024 * 1024;
  mallopt(M_ARENA_MAX, 1);
  mallopt(M_TRIM_THRESHOLD, much);
  mallopt(M_MMAP_THRESHOLD, large);
#endif
}

/// What one call has done, for the summary.
struct Outcome {
  record::LiveCounts counts;
  schema::Tally rejects;
  schema::Refused refused;
  std::vector<schema::Trial> trials;
  std::int64_t n_cells{}, n_flights{};
  double took_s{};
};

/// Loads files into one recording.
class Loader {
 public:
  Loader(const LoadCommand& options, const config::Config& config, config::Feed feed)
      : options_(options), config_(config), feed_(std::move(feed)) {}

  Result<Outcome> load() {
    const auto start = Clock::now();
    std::vector<feed::FileSource> sources;
    for (const std::string& file : options_.files) {
      auto source = feed::FileSource::open(file);
      if (!source) return tl::unexpected(source.error());
      sources.push_back(std::move(*source));
    }
    // Begins while the database is opened. Not from a pipe, which may have us wait when that fails.
    std::unique_ptr<feed::ReadAhead> first;
    if (sources.front().size()) {
      auto begun = feed::ReadAhead::begin(sources.front(), feed_.layout);
      if (!begun) return tl::unexpected(begun.error());
      first = std::move(*begun);
    }
    auto recording = record::Recording::open({.store = config_.store,
                                              .site = config_.site,
                                              .rules = {},
                                              .hash_addresses = config_.hash_addresses,
                                              .is_file = true,
                                              .commits_beside = true,
                                              .log = [](Level, std::string_view) {}});
    if (!recording) return tl::unexpected(recording.error());
    const auto before = recording->store().totals();
    if (!before) return tl::unexpected(before.error());
    if (auto ok = recording->add_feed(feed_); !ok) return tl::unexpected(ok.error());

    // What has been read is kept, even if the rest cannot be read.
    const Result<void> read = read_all(sources, std::move(first), *recording);
    if (auto ok = recording->close(); !ok) return tl::unexpected(ok.error());
    if (!read) return tl::unexpected(read.error());

    Outcome out;
    const auto after = recording->store().totals();
    if (!after) return tl::unexpected(after.error());
    out.n_cells = after->cells - before->cells;
    out.n_flights = after->flights - before->flights;
    const auto counts = recording->counts();
    out.counts = counts.front().live;
    out.rejects = counts.front().rejects;
    out.refused = recording->refused();
    const auto trials = recording->store().trials();
    if (!trials) return tl::unexpected(trials.error());
    for (const schema::Id id : recording->trials_used(feed_.name))
      for (const schema::Trial& trial : *trials)
        if (trial.id == id) out.trials.push_back(trial);
    out.took_s = seconds_since(start);
    return out;
  }

 private:
  // @param ahead  of the first source, where it has begun
  Result<void> read_all(std::vector<feed::FileSource>& sources,
                        std::unique_ptr<feed::ReadAhead> ahead, record::Recording& recording) {
    std::optional<std::int64_t> total = 0;
    for (const feed::FileSource& source : sources)
      total = total && source.size() ? std::optional(*total + *source.size()) : std::nullopt;
    Progress progress(options_.progress || isatty(STDERR_FILENO) != 0, total);
    std::int64_t read_before = 0;
    for (feed::FileSource& source : sources) {
      if (!ahead) {
        auto begun = feed::ReadAhead::begin(source, feed_.layout);
        if (!begun) return tl::unexpected(begun.error());
        ahead = std::move(*begun);
      }
      if (auto ok = read(*ahead, source.name(), recording, progress, read_before); !ok) return ok;
      ahead.reset();
      read_before += source.size().value_or(0);
    }
    progress.done();
    return {};
  }

  Result<void> read(feed::ReadAhead& ahead, const std::string& file, record::Recording& recording,
                    Progress& progress, std::int64_t read_before) {
    for (;;) {
      // Commits wait for each other, so they are to have a core.
      ahead.parse_while_waiting(!recording.is_committing());
      // A pipe may bring nothing for long: what it has brought is stored, and others may write.
      if (!ahead.is_ready_within(patience)) {
        if (auto ok = recording.commit(); !ok) return ok;
        if (auto ok = recording.finish_commits(); !ok) return ok;
      }
      const auto part = ahead.next();
      if (!part) return tl::unexpected(part.error());
      if (!*part) break;
      n_lines_ += static_cast<std::int64_t>((*part)->intake.n_lines());
      Result<void> taken = recording.take_in(feed_.name, (*part)->intake);
      if (taken && recording.is_commit_due()) taken = recording.commit();
      if (!taken) return taken;
      progress.at(read_before + (*part)->position, n_lines_);
      if (is_interrupted)
        return fail(Errc::io, "interrupted; what was read is kept", file, "load it again to go on");
    }
    if (!ahead.trouble().empty())
      return fail(Errc::malformed, "no line can be read: " + ahead.trouble(), file,
                  "roundeld peek shows the lines and guesses a layout");
    for (const std::string& fault : ahead.take_faults())
      fmt::print(stderr, "{}: a line can't be read: {}\n", file, fault);
    return {};
  }

  const LoadCommand& options_;
  const config::Config& config_;
  config::Feed feed_;
  std::int64_t n_lines_ = 0;
};

// --- What to load ------------------------------------------------------------------------------

Result<void> declared(std::string& into, const std::optional<std::string>& name,
                      const std::vector<std::string>& names, const char* option) {
  if (!name) return {};
  if (std::find(names.begin(), names.end(), *name) == names.end())
    return fail(Errc::bad_usage,
                fmt::format("{} is not declared in the configuration", config::shown(*name)),
                option, config::suggestion(*name, names, "declared are"));
  into = *name;
  return {};
}

Result<config::Feed> feed_of(const LoadCommand& options, const config::Config& config) {
  std::vector<std::string> names;
  const config::Feed* found = nullptr;
  for (const config::Feed& feed : config.feeds) {
    names.push_back(feed.name);
    if (feed.name == options.feed) found = &feed;
  }
  if (!found)
    return fail(Errc::bad_usage, fmt::format("there is no feed {}", config::shown(options.feed)),
                "--feed", config::suggestion(options.feed, names, "there are"));
  config::Feed feed = *found;
  if (!feed.layout.time)
    return fail(
        Errc::bad_config,
        fmt::format("layout \"{}\" has no time, and a file has no other clock", feed.layout.name),
        fmt::format("{}:{}", config.file.string(), feed.line), "add time to the layout");
  if (auto ok = declared(feed.antenna, options.antenna, config.antennas, "--antenna"); !ok)
    return tl::unexpected(ok.error());
  if (auto ok = declared(feed.receiver, options.receiver, config.receivers, "--receiver"); !ok)
    return tl::unexpected(ok.error());
  if (auto ok = declared(feed.mount, options.mount, config.mounts, "--mount"); !ok)
    return tl::unexpected(ok.error());
  if (options.rotation_deg) feed.rotation_deg = std::fmod(*options.rotation_deg, 360.0);
  return feed;
}

// --- What was done -----------------------------------------------------------------------------

double per_second(const Outcome& outcome) {
  return static_cast<double>(outcome.counts.received) / std::max(outcome.took_s, 1e-3);
}

void print_json(const std::string& feed, const Outcome& outcome) {
  Json rejected = Json::object();
  for (const auto& [reason, count] : outcome.rejects) rejected[reason] = count;
  Json trials = Json::array();
  for (const schema::Trial& trial : outcome.trials) trials.push_back(trial.id);
  const Json out{{"feed", feed},
                 {"trials", std::move(trials)},
                 {"reports",
                  {{"received", outcome.counts.received},
                   {"stored", outcome.counts.stored},
                   {"repeats", outcome.counts.repeats},
                   {"rejected", std::move(rejected)}}},
                 {"cells", outcome.n_cells},
                 {"flights", outcome.n_flights},
                 {"seconds", outcome.took_s},
                 {"reports_per_s", per_second(outcome)}};
  print(out.dump(2, ' ', false, Json::error_handler_t::replace) + "\n");
}

void print_text(const std::string& feed, const Outcome& outcome) {
  std::string rejected;
  for (const auto& [reason, count] : outcome.rejects)
    rejected += fmt::format("{}{} {}", rejected.empty() ? " (" : ", ", reason, count);
  if (!rejected.empty()) rejected += ")";
  print(fmt::format("feed \"{}\": {} reports received: {} stored, {} repeats, {} rejected{}\n",
                    feed, outcome.counts.received, outcome.counts.stored, outcome.counts.repeats,
                    outcome.counts.rejected, rejected));
  for (const schema::Trial& trial : outcome.trials)
    print(fmt::format("trial {}: {}\n", trial.id, record::words(record::equipment_of(trial))));
  print(fmt::format("{} cells and {} flights more, in {:.1f} s ({:.0f} reports a second)\n",
                    outcome.n_cells, outcome.n_flights, outcome.took_s, per_second(outcome)));
}

Result<int> load(const LoadCommand& options) {
  const auto config = config::load(options.config);
  if (!config) return tl::unexpected(config.error());
  auto feed = feed_of(options, *config);
  if (!feed) return tl::unexpected(feed.error());
  std::signal(SIGINT, interrupt);
  std::signal(SIGTERM, interrupt);
  keep_freed_memory();
  const auto outcome = Loader(options, *config, *feed).load();
  if (!outcome) return tl::unexpected(outcome.error());
  options.json ? print_json(feed->name, *outcome) : print_text(feed->name, *outcome);
  if (outcome->refused.rows > 0)
    return fail(Errc::io,
                fmt::format("the database refused {} rows, and their reports are lost: {}",
                            outcome->refused.rows, outcome->refused.latest),
                config->store.string(), "see what else was changed in it, or load into a new file");
  const auto unreadable = outcome->rejects.find("malformed");
  if (unreadable != outcome->rejects.end() && unreadable->second == outcome->counts.received)
    return fail(Errc::malformed,
                fmt::format("no line can be read with layout \"{}\"", feed->layout.name),
                options.files.front(), "roundeld peek shows the lines and guesses a layout");
  return 0;
}

}  // namespace

void add_load(CLI::App& app, Run& run) {
  const auto options = std::make_shared<LoadCommand>();
  CLI::App* command = app.add_subcommand("load", "Record from files, as fast as it goes");
  command->add_option("--config", options->config, "The configuration, roundel.toml")
      ->required()
      ->type_name("FILE");
  command->add_option("--feed", options->feed, "The feed that the reports are of")
      ->required()
      ->type_name("NAME");
  command->add_option("--antenna", options->antenna, "What was mounted then, where it differs")
      ->type_name("NAME");
  command->add_option("--receiver", options->receiver, "Likewise")->type_name("NAME");
  command->add_option("--mount", options->mount, "Likewise")->type_name("NAME");
  command
      ->add_option("--rotation-deg", options->rotation_deg,
                   "Of the antenna, clockwise seen from above")
      ->check(CLI::Range(0.0, 360.0))
      ->type_name("DEG");
  command->add_option("files", options->files, "Recordings in order of time, plain or gzip")
      ->required()
      ->type_name("FILE|-");
  command->add_flag("--json", options->json, "Print the summary for programs");
  command->add_flag("--progress", options->progress,
                    "Show progress where that is no terminal, too");
  command->callback([options, &run] { run = [options] { return load(*options); }; });
}

}  // namespace roundel::program
