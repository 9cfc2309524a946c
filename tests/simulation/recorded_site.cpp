#include "tests/simulation/recorded_site.h"

#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "daemon/record/recording.h"
#include "roundel/simulate/simulate.h"

namespace roundel::calibration {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

constexpr double sector_deg = 5;

Result<std::string> read_file(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  if (!in) return fail(Errc::not_found, "cannot be read", file.string());
  return text.str();
}

Result<void> write_file(const fs::path& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary);
  out << text;
  out.close();
  if (!out) return fail(Errc::io, "cannot be written", file.string());
  return {};
}

/// All that decides what is recorded, in words.
std::string words_of(const Site& site) {
  return fmt::format("{}\n{}\n{}\n", site.label(), site.traffic.string(), site.world.toml);
}

/// Lines in, rows out. One feed, as configured by a user who knows what is mounted.
class Recorder {
 public:
  static Result<Recorder> open(const fs::path& store, const simulate::Scenario& scenario) {
    auto recording = record::Recording::open({.store = store,
                                              .site = scenario.site,
                                              .rules = {},
                                              .is_file = true,
                                              .log = [](Level, std::string_view) {}});
    if (!recording) return tl::unexpected(recording.error());
    config::Feed feed;
    feed.name = scenario.trials.front().feed;
    feed.antenna = scenario.trials.front().antenna;
    feed.receiver = scenario.trials.front().receiver;
    feed.mount = scenario.trials.front().mount;
    if (auto ok = recording->add_feed(feed); !ok) return tl::unexpected(ok.error());
    return Recorder(std::move(*recording), std::move(feed));
  }

  Result<void> take(const simulate::Report& report) {
    line_.clear();
    simulate::append_line(line_, report);
    const std::string_view line(line_.data(), line_.size() - 1);  // without its end
    intake_.add(reader_, line, report.time_s);
    return intake_.reports.size() < reports_at_once ? Result<void>() : flush();
  }

  Result<void> close() {
    if (auto ok = flush(); !ok) return ok;
    return recording_.close();
  }

 private:
  static constexpr std::size_t reports_at_once = 8192;

  Recorder(record::Recording recording, config::Feed feed)
      : recording_(std::move(recording)), feed_(std::move(feed)), reader_(feed_.layout) {}

  Result<void> flush() {
    if (auto ok = recording_.take_in(feed_.name, intake_); !ok) return ok;
    return recording_.is_commit_due() ? recording_.commit() : Result<void>();
  }

  record::Recording recording_;
  config::Feed feed_;
  feed::LayoutReader reader_;
  feed::Intake intake_;
  std::string line_;
};

/// What the truth's file says.
struct TrueSite {
  std::array<double, 72> pattern_db{};
  std::array<double, 360> mask_deg{};
  double elevation_from_deg{}, elevation_step_deg{};
  std::vector<double> elevation_db;

  std::optional<double> elevation_at(double elevation_deg) const {
    const double x = (elevation_deg - elevation_from_deg) / elevation_step_deg;
    if (x < 0 || x > static_cast<double>(elevation_db.size()) - 1) return {};
    const auto i = std::min(static_cast<std::size_t>(x), elevation_db.size() - 2);
    return elevation_db[i] + (x - static_cast<double>(i)) * (elevation_db[i + 1] - elevation_db[i]);
  }
};

Result<TrueSite> read_truth(const fs::path& file) {
  const auto text = read_file(file);
  if (!text) return tl::unexpected(text.error());
  const Json json = Json::parse(*text, nullptr, false);
  if (json.is_discarded()) return fail(Errc::malformed, "not a truth", file.string());
  TrueSite out;
  const Json& trial = json.at("trials").at(0);
  trial.at("pattern_by_5deg_db").get_to(out.pattern_db);
  json.at("mask_deg").get_to(out.mask_deg);
  trial.at("elevation_from_deg").get_to(out.elevation_from_deg);
  trial.at("elevation_step_deg").get_to(out.elevation_step_deg);
  trial.at("elevation_less_dipole_db").get_to(out.elevation_db);
  return out;
}

void hold_against_pattern(const TrueSite& truth, Outcome& out) {
  const auto& sectors = out.verdict.sectors;
  double mean = 0;
  for (std::size_t s = 0; s < sectors.size(); ++s)
    if (sectors[s].gain_db) mean += truth.pattern_db[s], ++out.judged;
  if (out.judged > 0) mean /= out.judged;
  double squares = 0, high = -99, low = 99;
  int pairs = 0;
  for (std::size_t s = 0; s < sectors.size(); ++s) {
    const pattern::SectorVerdict& sector = sectors[s];
    if (!sector.gain_db) continue;
    const double true_db = truth.pattern_db[s] - mean;
    high = std::max(high, true_db);
    low = std::min(low, true_db);
    ++out.intervals;
    out.xx += true_db * true_db;
    out.xy += true_db * *sector.gain_db;
    out.holding += true_db >= *sector.low_db && true_db <= *sector.high_db;
    const std::size_t next = (s + 1) % sectors.size();
    if (s % 2 != 0 || !sectors[next].gain_db) continue;
    const double error =
        (*sector.gain_db - true_db + *sectors[next].gain_db - (truth.pattern_db[next] - mean)) / 2;
    squares += error * error;
    ++pairs;
  }
  if (pairs > 0) out.rms_db = std::sqrt(squares / pairs);
  out.true_ripple_db = out.judged > 0 ? high - low : 0;
  const auto& ripple = out.verdict.ripple;
  out.ripple_holds =
      out.true_ripple_db >= ripple.low_db - 1e-9 && out.true_ripple_db <= ripple.high_db + 1e-9;
  const bool is_round = out.true_ripple_db <= out.verdict.options.tolerance_db;
  out.is_wrong = out.verdict.answer == (is_round ? pattern::Answer::not_omnidirectional
                                                 : pattern::Answer::omnidirectional);
}

void hold_against_walls(const TrueSite& truth, Outcome& out) {
  constexpr double a_wall_deg = 0.5;
  for (std::size_t s = 0; s < out.verdict.sectors.size(); ++s) {
    const pattern::SectorVerdict& sector = out.verdict.sectors[s];
    // A sector counts as walled when the wall covers all of it.
    bool all = true, some = false;
    for (std::size_t d = s * 5; d < s * 5 + 5; ++d) {
      all = all && truth.mask_deg[d] > a_wall_deg;
      some = some || truth.mask_deg[d] > a_wall_deg;
    }
    if (all && sector.state != pattern::State::unjudged) {
      ++out.walled;
      if (sector.cutoff_deg) {
        ++out.walled_found;
        out.cutoff_error_squares += std::pow(*sector.cutoff_deg - truth.mask_deg[s * 5 + 4], 2);
      }
    }
    if (!some && sector.state == pattern::State::obstructed) ++out.false_walls;
  }
}

void hold_against_elevation(const TrueSite& truth, Outcome& out) {
  double n = 0, sum = 0, squares = 0;
  for (const auto& bin : out.verdict.elevation) {
    const auto true_db = truth.elevation_at(bin.elevation_deg);
    if (!true_db) continue;
    const double error = bin.gain_db - *true_db;
    ++n, sum += error, squares += error * error;
  }
  if (n > 1) out.elevation_rms_db = std::sqrt(std::max(0.0, squares / n - sum * sum / (n * n)));
}

Result<void> simulate_into(const Site& site, const fs::path& folder) {
  const auto scenario = simulate::completed(scenario_of(site));
  if (!scenario) return tl::unexpected(scenario.error());
  auto recorder = Recorder::open(folder / (site.label() + ".db"), *scenario);
  if (!recorder) return tl::unexpected(recorder.error());
  Result<void> taken;
  const auto truth = simulate::reports(*scenario, [&](std::size_t, const simulate::Report& report) {
    taken = recorder->take(report);
    return taken.has_value();
  });
  if (!truth) return tl::unexpected(truth.error());
  if (taken) taken = recorder->close();
  if (taken)
    taken = write_file(folder / (site.label() + ".json"), simulate::truth_json(*truth, false));
  return taken;
}

}  // namespace

Result<fs::path> record(const Site& site, const fs::path& folder) {
  const fs::path words = folder / (site.label() + ".world");
  fs::path store = folder / (site.label() + ".db");
  if (const auto kept = read_file(words); kept && *kept == words_of(site)) return store;
  // In a folder of its own, so that two programs may fill the same folder. The words come last:
  // they say that the others are whole.
  const fs::path unfinished = folder / fmt::format("{}.{}", site.label(), getpid());
  std::error_code error;
  fs::create_directories(unfinished, error);
  auto done = simulate_into(site, unfinished);
  if (done) done = write_file(unfinished / words.filename(), words_of(site));
  if (!done) return tl::unexpected(done.error());
  for (const char* end : {"-wal", "-shm"}) fs::remove(store.string() + end, error);
  for (const char* end : {".db", ".json", ".world"}) {
    const std::string name = site.label() + end;
    fs::rename(unfinished / name, folder / name, error);
    if (error) return fail(Errc::io, error.message(), (folder / name).string());
  }
  fs::remove_all(unfinished, error);
  return store;
}

Result<Outcome> judge(const fs::path& store, const pattern::VerdictOptions& options) {
  const auto opened = schema::Store::open(store, schema::Store::Access::read);
  if (!opened) return tl::unexpected(opened.error());
  auto verdict = pattern::verdict(*opened, {}, sector_deg, options);
  if (!verdict) return tl::unexpected(verdict.error());
  const auto truth = read_truth(fs::path(store).replace_extension(".json"));
  if (!truth) return tl::unexpected(truth.error());
  Outcome out;
  out.verdict = *std::move(verdict);
  hold_against_pattern(*truth, out);
  hold_against_walls(*truth, out);
  hold_against_elevation(*truth, out);
  return out;
}

Outcome run(const Site& site, const pattern::VerdictOptions& options) {
  std::string folder = (fs::temp_directory_path() / "roundel-world-XXXXXX").string();
  if (mkdtemp(folder.data()) == nullptr) std::abort();
  const auto store = record(site, folder);
  auto out = store ? judge(*store, options) : tl::unexpected(store.error());
  std::error_code error;
  fs::remove_all(folder, error);
  if (!out) {
    fmt::print(stderr, "{}: {}\n", site.label(), out.error().line());
    std::exit(1);
  }
  return *std::move(out);
}

}  // namespace roundel::calibration
