// A database as a recorder would have left it, of a scenario with a known truth.
#pragma once
#include "roundel/pattern/summary.h"
#include "roundel/simulate/simulate.h"
#include "tests/schema/store_fixture.h"

namespace roundel {

inline void store_simulated(const simulate::Scenario& scenario, const std::filesystem::path& file) {
  using schema::must;
  const simulate::CellSet set = must(simulate::cells(scenario));
  auto store = must(schema::Store::open(file, schema::Store::Access::record));
  must(store.set_site(scenario.site));
  const auto end_s = static_cast<std::int64_t>(scenario.start_s + scenario.hours * 3600);
  std::map<std::string, schema::Batch> by_feed;
  std::map<schema::Id, std::string> feed_of;  // by trial
  for (const schema::Trial& trial : set.trials) {
    const schema::Trial stored = must(store.start_trial(trial));
    if (stored.id != trial.id) throw std::runtime_error("trials must be in order of their start");
    feed_of[trial.id] = trial.feed;
    auto& batch = by_feed[trial.feed];
    batch.feed = must(store.feed_id(trial.feed));
    batch.coverage = {{batch.feed, static_cast<std::int64_t>(scenario.start_s), end_s}};
  }
  for (const schema::Flight& flight : set.flights)
    by_feed[feed_of[flight.trial]].flights.push_back(flight);
  for (const schema::Cell& cell : set.cells) {
    const auto& flight = set.flights[static_cast<std::size_t>(cell.flight - 1)];
    by_feed[feed_of[flight.trial]].cells.push_back(cell);
  }
  for (const auto& [feed, batch] : by_feed) must(store.commit(batch));
}

/// The same, with the summaries of all hours that are complete.
inline void store_summarised(const simulate::Scenario& scenario,
                             const std::filesystem::path& file) {
  using schema::must;
  store_simulated(scenario, file);
  auto store = must(schema::Store::open(file, schema::Store::Access::record));
  must(store.keep_summaries(must(pattern::make_summariser(scenario.site))));
  while (must(store.summarise(3))) {
  }
}

}  // namespace roundel
