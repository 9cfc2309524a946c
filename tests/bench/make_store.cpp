// Makes a database of simulated cells to time the analyses on.
//   make_store FILE [hours [aircraft]]      168 hours of 100 aircraft are some 6 million cells
#include <cstdio>
#include <cstdlib>
#include <filesystem>

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
    std::fprintf(stderr, "usage: make_store FILE [hours [aircraft]]\n");
    return 2;
  }
  simulate::Scenario scenario;
  scenario.hours = argc > 2 ? std::atof(argv[2]) : 168;
  scenario.traffic.mean_aircraft = argc > 3 ? std::atof(argv[3]) : 100;
  scenario.antenna("antenna").mast(25, 275, 130);
  scenario.wall(200, 260, 3);

  std::filesystem::remove(argv[1]);
  auto store = must(schema::Store::open(argv[1], schema::Store::Access::record));
  if (const auto ok = store.set_site(scenario.site); !ok) give_up(ok.error());
  schema::Batch batch;
  batch.feed = must(store.feed_id("roof"));
  const auto start_s = static_cast<std::int64_t>(scenario.start_s);
  const auto trial =
      must(store.start_trial({0, "roof", "antenna", "receiver", "mount", 0, start_s, {}, ""}));
  const auto commit = [&] {
    if (const auto ok = store.commit(batch); !ok) give_up(ok.error());
    batch.flights.clear();
    batch.cells.clear();
  };
  schema::Id newest = 0;
  std::int64_t n_cells = 0;
  std::vector<schema::Flight> flights;
  const auto truth = simulate::cells(
      scenario,
      [&](std::size_t, const schema::Flight& flight, const schema::Cell& cell) {
        if (flight.id > newest) {
          newest = flight.id;
          batch.flights.push_back(flight);
          batch.flights.back().trial = trial.id;
        }
        batch.cells.push_back(cell);
        ++n_cells;
        if (batch.cells.size() == 100'000) commit();
      },
      &flights);
  if (!truth) give_up(truth.error());
  for (schema::Flight& flight : flights) flight.trial = trial.id;
  batch.flights.insert(batch.flights.end(), flights.begin(), flights.end());
  const auto stop_s = start_s + static_cast<std::int64_t>(scenario.hours * 3600);
  batch.coverage.push_back({batch.feed, start_s, stop_s});
  batch.hour_s = start_s;
  commit();
  std::printf("%s: %lld cells, %zu flights\n", argv[1], static_cast<long long>(n_cells),
              flights.size());
}
