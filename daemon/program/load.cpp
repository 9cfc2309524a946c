// roundeld load: records files as a feed would have been recorded live.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>
#include <zlib.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "daemon/feed/intake.h"
#include "daemon/program/command.h"
#include "daemon/program/log.h"
#include "daemon/record/recording.h"
#include "roundel/config/config.h"
#include "roundel/feed/framer.h"
#include "roundel/feed/layout_reader.h"

namespace roundel::program {
namespace {

using Clock = std::chrono::steady_clock;

struct LoadOptions {
  std::string config, feed, antenna, receiver, mount;
  double rotation_deg = -1;
  bool json = false, progress = false;
  std::vector<std::string> files;
};

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

// One input, plain or gzip; closes itself.
class Input {
 public:
  static Result<Input> open(const std::string& name) {
    const int descriptor =
        name == "-" ? dup(STDIN_FILENO) : ::open(name.c_str(), O_RDONLY | O_CLOEXEC);
    if (descriptor < 0)
      return fail(errno == ENOENT ? Errc::not_found : Errc::io, "cannot be read", name,
                  "check that it exists and may be read");
    gzFile file = gzdopen(descriptor, "rb");
    if (!file) {
      close(descriptor);
      return fail(Errc::io, "cannot be read", name);
    }
    gzbuffer(file, 1U << 18U);
    return Input(name, file);
  }
  /// Bytes read, 0 at the end.
  Result<std::size_t> read(std::vector<char>& into) {
    const int n = gzread(file_.get(), into.data(), static_cast<unsigned>(into.size()));
    if (n < 0) {
      int code = 0;
      return fail(Errc::corrupt, gzerror(file_.get(), &code), name_,
                  "what stands before the damage has been recorded");
    }
    return static_cast<std::size_t>(n);
  }
  /// Of the file as it lies on disk.
  double bytes_done() const { return static_cast<double>(gzoffset(file_.get())); }

 private:
  struct Close {
    void operator()(gzFile_s* file) const { gzclose_r(file); }
  };
  Input(std::string name, gzFile file) : name_(std::move(name)), file_(file) {}
  std::string name_;
  std::unique_ptr<gzFile_s, Close> file_;
};

// A bar on standard error, a few times a second.
class Progress {
 public:
  Progress(bool shown, double total_bytes) : shown_(shown), total_(total_bytes) {}
  void show(double bytes, std::int64_t lines) {
    if (!shown_ || seconds_since(last_) < 0.2) return;
    last_ = Clock::now();
    const double passed = seconds_since(start_);
    std::string line = fmt::format("{:.2f} M lines, {:.2f} M/s", static_cast<double>(lines) / 1e6,
                                   static_cast<double>(lines) / 1e6 / std::max(passed, 0.01));
    if (total_ > 0) {
      const double share = std::min(1.0, bytes / total_);
      const auto full = static_cast<std::size_t>(share * 30);
      line = fmt::format("[{}{}] {:3.0f}%  {}  {:.0f} s left", std::string(full, '#'),
                         std::string(30 - full, '.'), 100 * share, line,
                         share > 0.01 ? passed * (1 - share) / share : 0.0);
    }
    fmt::print(stderr, "\r{}   ", line);
    std::fflush(stderr);
    any_ = true;
  }
  ~Progress() {
    if (any_) fmt::print(stderr, "\r{:90}\r", "");
  }

 private:
  bool shown_, any_ = false;
  double total_;
  Clock::time_point start_ = Clock::now(), last_ = start_ - std::chrono::seconds(1);
};

Result<config::Feed> choose_feed(const config::Config& config, const LoadOptions& options) {
  std::string known;
  for (const config::Feed& feed : config.feeds) {
    if (feed.name != options.feed) {
      known += (known.empty() ? "" : ", ") + feed.name;
      continue;
    }
    config::Feed chosen = feed;
    chosen.clock_is_arrival = false;
    if (!options.antenna.empty()) chosen.antenna = options.antenna;
    if (!options.receiver.empty()) chosen.receiver = options.receiver;
    if (!options.mount.empty()) chosen.mount = options.mount;
    if (options.rotation_deg >= 0) chosen.rotation_deg = options.rotation_deg;
    return chosen;
  }
  return fail(Errc::bad_usage, "no feed is named \"" + options.feed + "\"", "--feed",
              "the configuration has: " + known);
}

Result<void> load_file(record::Recording& recording, const config::Feed& feed,
                       const std::string& name, double bytes_before, Progress& progress,
                       std::int64_t& lines) {
  auto input = Input::open(name);
  if (!input) return tl::unexpected(input.error());
  feed::LineFramer framer;
  feed::LayoutReader reader(feed.layout);
  feed::Intake intake;
  const double arrival_s = static_cast<double>(std::time(nullptr));
  std::uint64_t too_long = 0;
  const auto on_line = [&](std::string_view line) { intake.add(reader, line, arrival_s); };
  const auto pass_on = [&]() -> Result<void> {
    if (framer.too_long() > too_long) {
      intake.reject(feed::Reject::too_long, static_cast<int>(framer.too_long() - too_long));
      too_long = framer.too_long();
    }
    lines += static_cast<std::int64_t>(intake.n_lines());
    if (auto taken = recording.take_in(feed.name, intake); !taken) return taken;
    intake = {};
    if (recording.is_commit_due()) return recording.commit();
    return {};
  };
  std::vector<char> block(1U << 18U);
  while (true) {
    const auto n = input->read(block);
    if (!n) return tl::unexpected(n.error());
    if (*n == 0) break;
    framer.feed({block.data(), *n}, on_line);
    if (auto ok = pass_on(); !ok) return ok;
    progress.show(bytes_before + input->bytes_done(), lines);
  }
  framer.finish(on_line);
  return pass_on();
}

Result<int> load(const LoadOptions& options) {
  auto config = config::load(options.config);
  if (!config) return tl::unexpected(config.error());
  const auto feed = choose_feed(*config, options);
  if (!feed) return tl::unexpected(feed.error());
  double total_bytes = 0;
  for (const std::string& name : options.files) {
    std::error_code error;
    if (name == "-") {
      total_bytes = 0;
      break;
    }
    const auto size = std::filesystem::file_size(name, error);
    if (error) return fail(Errc::not_found, "cannot be read", name, "check that it exists");
    total_bytes += static_cast<double>(size);
  }

  record::Recording::Options opening;
  opening.store = config->store;
  opening.site = config->site;
  opening.is_file = true;
  opening.log = make_log();
  auto recording = record::Recording::open(std::move(opening));
  if (!recording) return tl::unexpected(recording.error());
  if (auto added = recording->add_feed(*feed); !added) return tl::unexpected(added.error());

  const auto start = Clock::now();
  std::int64_t lines = 0;
  {
    Progress progress(options.progress || (isatty(STDERR_FILENO) && !options.json), total_bytes);
    double before = 0;
    for (const std::string& name : options.files) {
      const auto loaded = load_file(*recording, *feed, name, before, progress, lines);
      if (!loaded) {
        // What came before the failure is sound and stays.
        if (auto closed = recording->close(); !closed) return tl::unexpected(closed.error());
        return tl::unexpected(loaded.error());
      }
      std::error_code ignored;
      if (name != "-") before += static_cast<double>(std::filesystem::file_size(name, ignored));
    }
  }
  if (auto closed = recording->close(); !closed) return tl::unexpected(closed.error());

  const double took_s = seconds_since(start);
  const auto counts = recording->counts();
  const record::LiveCounts& live = counts.front().live;
  const auto trials = recording->trials_used(feed->name);
  if (options.json) {
    nlohmann::ordered_json out;
    out["reports"] = {{"received", live.received},
                      {"stored", live.stored},
                      {"repeats", live.repeats},
                      {"rejected", nlohmann::ordered_json::object()}};
    for (const auto& [reason, count] : counts.front().rejects)
      out["reports"]["rejected"][reason] = count;
    out["trials"] = trials;
    out["seconds"] = std::round(took_s * 1000) / 1000;
    fmt::print("{}\n", out.dump(2));
    return 0;
  }
  fmt::print(
      "{}: {} reports received, {} stored, {} repeats, {} rejected, in {:.1f} s ({:.2f} M/s)\n",
      feed->name, live.received, live.stored, live.repeats, live.rejected, took_s,
      static_cast<double>(live.received) / 1e6 / std::max(took_s, 1e-3));
  for (const auto& [reason, count] : counts.front().rejects)
    fmt::print("  {}: {}\n", reason, count);
  return 0;
}

}  // namespace

void add_load(CLI::App& app, Run& run) {
  const auto options = std::make_shared<LoadOptions>();
  CLI::App* command = app.add_subcommand("load", "Record files as a feed, as fast as it goes");
  command->add_option("--config", options->config, "roundel.toml")->required();
  command->add_option("--feed", options->feed, "name of the feed they came from")->required();
  command->add_option("--antenna", options->antenna, "what was on it, where not as configured");
  command->add_option("--receiver", options->receiver);
  command->add_option("--mount", options->mount);
  command->add_option("--rotation-deg", options->rotation_deg, "of the antenna, clockwise")
      ->check(CLI::Range(0.0, 359.999));
  command->add_flag("--json", options->json, "print the counts as JSON");
  command->add_flag("--progress", options->progress, "show progress even where not on a terminal");
  command->add_option("FILE", options->files, "plain or gzip; - is standard input")->required();
  command->callback([options, &run] { run = [options] { return load(*options); }; });
}

}  // namespace roundel::program
