// What one report costs the recorder, from accept() to the batch, without reading and storing.
#include <benchmark/benchmark.h>
#include <fmt/core.h>

#include <cstdlib>
#include <vector>

#include "tests/record/scene.h"

namespace {

using roundel::feed::Report;

// n aircraft at two reports a second for an hour of feed time or a million reports, whichever is
// less; every third report is printed twice.
std::vector<Report> traffic(int n_aircraft) {
  std::vector<roundel::record::Plane> planes;
  for (int i = 0; i < n_aircraft; ++i) {
    roundel::record::Plane plane;
    plane.address = 0x400000U + static_cast<std::uint32_t>(i) * 7;
    plane.latitude_deg = 50.6 + 3. * i / n_aircraft;
    plane.longitude_deg = 17.5 + 0.03 * (i * 37 % 100);
    plane.north_km_s = 0.02 * (i % 7 - 3);
    plane.east_km_s = i % 2 == 0 ? 0.05 : -0.05;
    planes.push_back(plane);
  }
  std::vector<Report> reports;
  for (double at = 0; at < 3600 && reports.size() < 1'000'000; at += 0.5) {
    for (int i = 0; i < n_aircraft; ++i) {
      const double time_s = roundel::record::t0_s + at + 0.5 * i / n_aircraft;
      reports.push_back(planes[static_cast<std::size_t>(i)].at(time_s));
      if (reports.size() % 3 == 0) reports.push_back(reports.back());
    }
  }
  return reports;
}

void record(benchmark::State& state) {
  const std::vector<Report> reports = traffic(static_cast<int>(state.range(0)));
  std::size_t n_cells = 0;
  for (auto unused : state) {
    state.PauseTiming();  // the viewpoint's grid
    roundel::record::Scene scene;
    state.ResumeTiming();
    n_cells = 0;
    std::size_t n_taken = 0;
    for (const Report& report : reports) {
      scene.recorder->accept(report, 0);
      if (++n_taken % 20'000 == 0) n_cells += scene.recorder->take().cells.size();
    }
    scene.recorder->close();
    n_cells += scene.recorder->take().cells.size();
    const auto& live = scene.recorder->live();
    if (live.rejected != 0 || live.stored + live.repeats != std::ssize(reports)) {
      state.SkipWithError("not every report was stored or a repeat");
      return;
    }
  }
  const auto n = static_cast<double>(reports.size());
  state.counters["reports"] = n;
  state.counters["cells_given"] = static_cast<double>(n_cells);
  state.counters["s_per_report"] = benchmark::Counter(
      n, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}
BENCHMARK(record)->Arg(1)->Arg(40)->Arg(300)->Arg(2000)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
