// roundel simulate: reports with a known truth.
#include "roundel/simulate/simulate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <memory>
#include <optional>
#include <thread>

#include "analysis/program/command.h"

namespace roundel::program {
namespace {

constexpr std::size_t block_bytes = 1 << 16;

struct Options {
  std::string scenario;
  std::optional<std::uint64_t> seed;
  std::optional<double> hours;
  std::string feed, truth, out_dir;
  double realtime_factor = 0;  // 0: as fast as it goes
  bool with_flights = false;
};

/// Lines on their way to one file, in blocks.
class Output {
 public:
  static Result<Output> make(const std::filesystem::path& file) {
    Output out;
    out.name_ = file.string();
    out.owned_.reset(std::fopen(file.c_str(), "wb"));
    if (!out.owned_) return fail(Errc::io, std::strerror(errno), out.name_);
    out.file_ = out.owned_.get();
    return out;
  }
  static Output standard() {
    Output out;
    out.name_ = "standard output";
    out.file_ = stdout;
    return out;
  }

  std::string& text() { return text_; }
  bool is_full() const { return text_.size() >= block_bytes; }
  Result<void> write() {
    const bool is_written = std::fwrite(text_.data(), 1, text_.size(), file_) == text_.size() &&
                            std::fflush(file_) == 0;
    if (!is_written)
      return fail(errno == ENOSPC ? Errc::disk_full : Errc::io, std::strerror(errno), name_);
    text_.clear();
    return {};
  }

 private:
  struct Close {
    void operator()(std::FILE* f) const noexcept { std::fclose(f); }
  };
  std::string name_, text_;
  std::unique_ptr<std::FILE, Close> owned_;
  std::FILE* file_ = nullptr;
};

/// Holds simulated time back to a multiple of the clock's.
class Pace {
 public:
  explicit Pace(double factor) : factor_(factor), start_(std::chrono::steady_clock::now()) {}
  /// Whether what is printed at this time is not due yet.
  bool is_early(double elapsed_s) const {
    return factor_ > 0 && elapsed_s / factor_ > real_s() + 0.02;
  }
  void wait_for(double elapsed_s) const {
    std::this_thread::sleep_for(std::chrono::duration<double>(elapsed_s / factor_ - real_s()));
  }

 private:
  double real_s() const {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }
  double factor_;
  std::chrono::steady_clock::time_point start_;
};

Result<simulate::Scenario> scenario_of(const Options& options) {
  auto scenario = simulate::load_scenario(options.scenario);
  if (!scenario) return scenario;
  if (options.seed) scenario->seed = *options.seed;
  if (options.hours) scenario->hours = *options.hours;
  return simulate::completed(*scenario);
}

/// Which output each feed goes to; nothing for feeds not asked for.
Result<std::vector<std::optional<Output>>> outputs_of(const Options& options,
                                                      const simulate::Scenario& scenario) {
  std::vector<std::optional<Output>> outputs(scenario.feeds.size());
  std::string names;
  for (const auto& feed : scenario.feeds) names += (names.empty() ? "" : ", ") + feed.name;
  if (options.feed.empty() && options.out_dir.empty() && scenario.feeds.size() > 1)
    return fail(Errc::bad_usage, fmt::format("the scenario has several feeds: {}", names),
                "roundel simulate", "choose one with --feed NAME, or use --out-dir DIR for all");
  bool is_found = false;
  for (std::size_t i = 0; i < scenario.feeds.size(); ++i) {
    const std::string& name = scenario.feeds[i].name;
    if (!options.feed.empty() && name != options.feed) continue;
    is_found = true;
    if (options.out_dir.empty()) {
      outputs[i] = Output::standard();
      continue;
    }
    if (name.find('/') != std::string::npos)
      return fail(Errc::bad_usage, fmt::format("feed '{}' cannot name a file", name), "--out-dir");
    auto output = Output::make(std::filesystem::path(options.out_dir) / (name + ".ndjson"));
    if (!output) return tl::unexpected(output.error());
    outputs[i] = *std::move(output);
  }
  if (!is_found)
    return fail(Errc::bad_usage, fmt::format("no feed is named '{}'", options.feed), "--feed",
                fmt::format("there are: {}", names));
  return outputs;
}

Result<int> simulate_to_files(const Options& options) {
  const auto scenario = scenario_of(options);
  if (!scenario) return tl::unexpected(scenario.error());
  if (!options.out_dir.empty()) {
    std::error_code error;
    std::filesystem::create_directories(options.out_dir, error);
    if (error) return fail(Errc::io, error.message(), options.out_dir);
  }
  auto outputs = outputs_of(options, *scenario);
  if (!outputs) return tl::unexpected(outputs.error());

  Result<void> written;
  const auto write_all = [&] {
    for (auto& output : *outputs)
      if (output && written) written = output->write();
  };
  const Pace pace(options.realtime_factor);
  const auto truth =
      simulate::reports(*scenario, [&](std::size_t feed, const simulate::Report& report) {
        const double elapsed_s =
            report.time_s - scenario->feeds[feed].clock_offset_s - scenario->start_s;
        if (pace.is_early(elapsed_s)) {
          write_all();
          pace.wait_for(elapsed_s);
        }
        auto& output = (*outputs)[feed];
        if (!output) return true;
        simulate::append_line(output->text(), report);
        if (output->is_full()) written = output->write();
        return written.has_value();
      });
  if (!truth) return tl::unexpected(truth.error());
  if (written) write_all();
  if (!written) return tl::unexpected(written.error());
  if (!options.truth.empty()) {
    auto side = Output::make(options.truth);
    if (!side) return tl::unexpected(side.error());
    side->text() = simulate::truth_json(*truth, options.with_flights);
    if (auto ok = side->write(); !ok) return tl::unexpected(ok.error());
  }
  return 0;
}

}  // namespace

void add_simulate(CLI::App& app, Run& run) {
  auto options = std::make_shared<Options>();
  auto* command = app.add_subcommand("simulate", "reports with a known truth, from a scenario");
  command->add_option("scenario", options->scenario, "scenario, a TOML file")
      ->required()
      ->type_name("SCENARIO.toml");
  command->add_option("--seed", options->seed, "instead of the scenario's");
  command->add_option("--hours", options->hours, "instead of the scenario's");
  command->add_option("--feed", options->feed, "print this feed only");
  command->add_option("--out-dir", options->out_dir, "write each feed to DIR/FEED.ndjson")
      ->type_name("DIR");
  command->add_option("--truth", options->truth, "write the truth there, as JSON")
      ->type_name("FILE");
  command->add_flag("--flights", options->with_flights, "with every flight in the truth");
  command
      ->add_option("--realtime-factor", options->realtime_factor,
                   "so many simulated seconds a second; default: as fast as it goes")
      ->check(CLI::PositiveNumber);
  command->callback([options, &run] { run = [options] { return simulate_to_files(*options); }; });
}

}  // namespace roundel::program
