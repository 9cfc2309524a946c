// Makes a database of simulated cells, and their summaries, to time the analyses on.
//   make_store FILE [hours [aircraft [feeds]]]    168 hours of 100 aircraft: some 6 million cells
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "roundel/pattern/summary.h"
#include "roundel/schema/store.h"
#include "roundel/simulate/scenario.h"
#include "roundel/simulate/simulate.h"

namespace {

using namespace roundel;

[[noreturn]] void give_up(const Error& error) {
  std::fprintf(stderr, "make_store: %s\n", error.line().c_str());
  std::exit(1);
}

template <class T>
T must(Result<T> result) {
  if (!result) give_up(result.error());
  return std::move(*result);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "usage: make_store FILE [hours [aircraft [feeds [trials of each]]]]\n");
    return 2;
  }
  simulate::Scenario scenario;
  scenario.hours = argc > 2 ? std::atof(argv[2]) : 168;
  scenario.traffic.mean_aircraft = argc > 3 ? std::atof(argv[3]) : 100;
  scenario.antenna("antenna").mast(25, 275, 130);
  scenario.wall(200, 260, 3);
  // Further feeds hear the same traffic, each by an antenna of its own.
  const int n_feeds = argc > 4 ? std::atoi(argv[4]) : 1;
  const int n_trials = argc > 5 ? std::atoi(argv[5]) : 1;
  for (int i = 0; i < n_feeds; ++i) {
    const std::string number = i == 0 ? "" : " " + std::to_string(i + 1);
    if (i > 0) scenario.antenna("antenna" + number);
    for (int t = 0; t < n_trials; ++t) {
      std::optional<double> stop_h;
      if (t + 1 < n_trials) stop_h = scenario.hours * (t + 1) / n_trials;
      scenario.trial(
          {"roof" + number, "antenna" + number, "", "", 0, scenario.hours * t / n_trials, stop_h});
    }
  }

  std::filesystem::remove(argv[1]);
  auto store = must(schema::Store::open(argv[1], schema::Store::Access::record));
  if (const auto ok = store.set_site(scenario.site); !ok) give_up(ok.error());
  const auto start_s = static_cast<std::int64_t>(scenario.start_s);
  const auto stop_s = start_s + static_cast<std::int64_t>(scenario.hours * 3600);
  std::vector<schema::Batch> batches;
  for (const auto& plan : scenario.trials) {
    const auto from_s = start_s + static_cast<std::int64_t>(plan.start_h * 3600);
    std::optional<std::int64_t> to_s;
    if (plan.stop_h) to_s = start_s + static_cast<std::int64_t>(*plan.stop_h * 3600);
    must(store.start_trial({0, plan.feed, plan.antenna, "receiver", "mount", 0, from_s, to_s, ""}));
    batches.emplace_back();
    batches.back().feed = must(store.feed_id(plan.feed));
    batches.back().hour_s = start_s;
  }
  const auto commit = [&](schema::Batch& batch) {
    if (const auto ok = store.commit(batch); !ok) give_up(ok.error());
    batch.flights.clear();
    batch.cells.clear();
  };
  std::vector<bool> is_known;
  std::int64_t n_cells = 0;
  std::vector<schema::Flight> flights;
  const auto truth = simulate::cells(
      scenario,
      [&](std::size_t trial, const schema::Flight& flight, const schema::Cell& cell) {
        schema::Batch& batch = batches[trial];
        const auto id = static_cast<std::size_t>(flight.id);
        if (id >= is_known.size()) is_known.resize(2 * id + 1);
        if (!is_known[id]) batch.flights.push_back(flight);
        is_known[id] = true;
        batch.cells.push_back(cell);
        ++n_cells;
        if (batch.cells.size() == 100'000) commit(batch);
      },
      &flights);
  if (!truth) give_up(truth.error());
  for (const schema::Flight& flight : flights)
    batches[static_cast<std::size_t>(flight.trial - 1)].flights.push_back(flight);
  for (schema::Batch& batch : batches) {
    batch.coverage.push_back({batch.feed, start_s, stop_s});
    commit(batch);
  }
  if (const auto ok = store.keep_summaries(must(pattern::make_summariser(scenario.site))); !ok)
    give_up(ok.error());
  while (must(store.summarise(100))) {
  }
  std::printf("%s: %lld cells, %zu flights\n", argv[1], static_cast<long long>(n_cells),
              flights.size());
}
