// Runs the calibration suite over worlds and prints its table.
//   calibrate [--list] [--seeds FROM-TO] [--patterns flat,order1,mast] [--days 1,3] [--each]
//             [--summaries] [--keep DIR] [--jobs N] [--traffic FILE] [WORLD ...]
// With --keep, what was simulated and recorded stays in DIR and serves the next call: only the
// verdicts are made anew.
#include <fmt/format.h>

#include <atomic>
#include <cmath>
#include <cstdio>
#include <mutex>
#include <thread>

#include "tests/simulation/arguments.h"
#include "tests/simulation/pooled_share.h"
#include "tests/simulation/recorded_site.h"

namespace {

using namespace roundel::calibration;
using roundel::pattern::Answer;

void print_one(const Site& site, const Outcome& o) {
  const auto& v = o.verdict;
  fmt::print(
      "  {}: {} ripple {:.2f} [{:.2f} {:.2f}] certain [{:.2f} {:.2f}] true {:.2f} scale {:.3f} "
      "rms {:.3f} elevation {:.2f} holds {}/{} judged {} walls {}/{} false {} w {:.2f} pm {:.3f} "
      "sf {:.2f} m {:.1f} rate se {:.2f} levels {} off {} duct {} missing {:.0f} h\n",
      site.label(), name_of(v.answer), v.ripple.value_db, v.ripple.low_db, v.ripple.high_db,
      v.ripple.certain_low_db, v.ripple.certain_high_db, o.true_ripple_db, o.scale(),
      o.rms_db.value_or(-1), o.elevation_rms_db.value_or(-1), o.holding, o.intervals, o.judged,
      o.walled_found, o.walled, o.false_walls, v.softness_db, v.ceiling, v.sigma_flight_db,
      v.throttle.messages_per_chance, v.rate.rms_error_db, v.strength.used, v.hours_off.size(),
      v.hours_ducting.size(), v.missing.hours.value_or(-1));
}

/// Runs of one row of the table.
class Row {
 public:
  void add(const Outcome& o) {
    ++runs_;
    answers_[static_cast<std::size_t>(o.verdict.answer)] += 1;
    wrong_ += o.is_wrong;
    if (o.rms_db) ++with_rms_, squares_ += *o.rms_db * *o.rms_db;
    if (o.scale() != 0) scales_.push_back(o.scale());
    intervals_.push_back({o.holding, o.intervals});
    ripples_ += o.ripple_holds;
    walled_ += o.walled;
    found_ += o.walled_found;
    cutoff_squares_ += o.cutoff_error_squares;
    false_walls_ += o.false_walls;
    judged_ += o.judged;
    if (!o.elevation_rms_db) return;
    ++with_elevation_;
    elevation_squares_ += *o.elevation_rms_db * *o.elevation_rms_db;
  }

  /// @param what  the first columns: world, antenna, days
  void print(const std::string& what) const {
    const auto share = [&](double n) { return fmt::format("{:.0f} %", 100 * n / runs_); };
    const auto root = [](double sum, int n) {
      return n > 0 ? fmt::format("{:.2f}", std::sqrt(sum / n)) : std::string("-");
    };
    const auto answer = [&](Answer a) { return share(answers_[static_cast<std::size_t>(a)]); };
    fmt::print(
        "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {:.2f} | {} | {:.1f} |\n",
        what, runs_, answer(Answer::omnidirectional), answer(Answer::not_omnidirectional),
        answer(Answer::undecided), share(wrong_), root(squares_, with_rms_), scale_text(),
        interval_text(), share(ripples_),
        walled_ > 0 ? fmt::format("{:.1f} %", 100.0 * found_ / walled_) : "-",
        root(cutoff_squares_, found_), static_cast<double>(false_walls_) / runs_,
        root(elevation_squares_, with_elevation_), static_cast<double>(judged_) / runs_);
    std::fflush(stdout);
  }

  static void print_head() {
    fmt::print(
        "| world | antenna | days | runs | omni | not | undecided | wrong | rms dB / 10 deg | "
        "scale | "
        "intervals hold | ripple holds | walls found | cut-off rms deg | false walls a run | "
        "elevation rms dB | judged |\n"
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
  }

 private:
  std::string scale_text() const {
    if (scales_.empty()) return "-";
    const double n = static_cast<double>(scales_.size());
    double mean = 0, squares = 0;
    for (const double scale : scales_) mean += scale / n;
    for (const double scale : scales_) squares += (scale - mean) * (scale - mean);
    if (scales_.size() < 2) return fmt::format("{:.3f}", mean);
    const double t = roundel::trial::student_t975(static_cast<int>(scales_.size()) - 1);
    return fmt::format("{:.3f} ± {:.3f}", mean, t * std::sqrt(squares / (n - 1) / n));
  }
  std::string interval_text() const {
    const auto share = pooled(intervals_);
    if (share.of == 0) return "-";
    if (!share.half_width) return fmt::format("{:.1f} %", 100 * share.value);
    return fmt::format("{:.1f} % ± {:.1f}", 100 * share.value, 100 * *share.half_width);
  }

  int runs_ = 0, wrong_ = 0, ripples_ = 0, walled_ = 0, found_ = 0, false_walls_ = 0, judged_ = 0;
  int with_rms_ = 0, with_elevation_ = 0;
  int answers_[3]{};
  double squares_ = 0, cutoff_squares_ = 0, elevation_squares_ = 0;
  std::vector<double> scales_;
  std::vector<Tally> intervals_;  // by run
};

Outcome outcome_of(const Site& site, const Arguments& asked) {
  roundel::pattern::VerdictOptions options;
  options.from_summaries = asked.from_summaries;
  if (asked.keep.empty()) return run(site, options);
  const auto store = record(site, asked.keep);
  auto out = store ? judge(*store, options) : tl::unexpected(store.error());
  if (!out) {
    fmt::print(stderr, "{}: {}\n", site.label(), out.error().line());
    std::exit(1);
  }
  return *std::move(out);
}

/// Each run is on its own; rows are printed in order, as soon as they are whole.
void run_all(const std::vector<std::vector<Site>>& rows, const Arguments& asked) {
  std::vector<std::pair<std::size_t, std::size_t>> work;  // row, run
  std::vector<std::vector<std::optional<Outcome>>> outcomes(rows.size());
  for (std::size_t row = 0; row < rows.size(); ++row) {
    outcomes[row].resize(rows[row].size());
    for (std::size_t i = 0; i < rows[row].size(); ++i) work.emplace_back(row, i);
  }
  std::mutex mutex;
  std::size_t next_row = 0;
  Row all;
  const auto print_whole_rows = [&] {
    for (; next_row < rows.size(); ++next_row) {
      Row row;
      for (const auto& outcome : outcomes[next_row]) {
        if (!outcome) return;
        row.add(*outcome);
      }
      for (const auto& outcome : outcomes[next_row]) all.add(*outcome);
      const Site& site = rows[next_row].front();
      row.print(fmt::format("{} | {} | {:g}", site.world.name, site.pattern.name, site.days));
      outcomes[next_row].clear();
      outcomes[next_row].shrink_to_fit();
    }
  };
  std::atomic<std::size_t> next = 0;
  const auto work_off = [&] {
    for (std::size_t at = next++; at < work.size(); at = next++) {
      const auto [row, i] = work[at];
      Outcome outcome = outcome_of(rows[row][i], asked);
      const std::lock_guard lock(mutex);
      if (asked.each) print_one(rows[row][i], outcome);
      outcomes[row][i] = std::move(outcome);
      print_whole_rows();
    }
  };
  std::vector<std::thread> threads;
  for (int i = 1; i < asked.jobs; ++i) threads.emplace_back(work_off);
  work_off();
  for (std::thread& thread : threads) thread.join();
  if (rows.size() > 1) all.print("all | all | all");
}

void print_list() {
  fmt::print("| world | what departs from the plain one |\n|---|---|\n");
  for (const World& world : worlds()) fmt::print("| {} | {} |\n", world.name, world.what);
  fmt::print("\n| antenna | its pattern by bearing |\n|---|---|\n");
  for (const Pattern& pattern : patterns()) fmt::print("| {} | {} |\n", pattern.name, pattern.what);
}

}  // namespace

int main(int argc, char** argv) {
  Arguments asked = read_arguments(argc, argv, 1001, 1012);
  if (asked.list) return print_list(), 0;
  if (asked.names.empty())
    for (const World& world : worlds()) asked.names.push_back(world.name);
  if (asked.patterns.empty()) asked.patterns = {"flat", "order1", "mast"};
  if (asked.days.empty()) asked.days = {asked.traffic.empty() ? 1.0 : 7.0};
  std::vector<std::vector<Site>> rows;
  for (const std::string& name : asked.names)
    for (const std::string& pattern : asked.patterns)
      for (const double days : asked.days) {
        auto& row = rows.emplace_back();
        for (std::uint64_t seed = asked.from; seed <= asked.to; ++seed)
          row.push_back({find_world(name), find_pattern(pattern), days, seed, asked.traffic});
      }
  fmt::print(
      "Seeds {} to {}, 40 aircraft on average unless said, tolerance 3 dB, confidence 95 %.\n\n",
      asked.from, asked.to);
  Row::print_head();
  run_all(rows, asked);
}
