#include "daemon/serve/usual.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <tuple>
#include <utility>

namespace roundel::serve {

std::optional<std::string> usual_antenna(const std::vector<schema::Trial>& trials,
                                         std::size_t n_antennas) {
  if (n_antennas < 2 || trials.empty()) return {};
  return std::ranges::max(trials, {},
                          [](const schema::Trial& trial) {
                            return std::pair(!trial.stop_s.has_value(), trial.start_s);
                          })
      .antenna;
}

std::vector<Work> usual_work(const Door& door, const schema::Store& store) {
  const auto antennas = store.antennas();
  const auto trials = store.trials();
  if (!antennas || !trials) return {};
  Query query;
  if (const auto antenna = usual_antenna(*trials, antennas->size()))
    query = Query({{"antenna", *antenna}});
  std::vector<Work> out;
  for (const char* path : {"/api/reach", "/api/field", "/api/verdict", "/api/drift"})
    out.push_back(door.work(path, std::get<FromStore>(find_route(path)->handler), query));
  return out;
}

}  // namespace roundel::serve
