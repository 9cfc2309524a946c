#include "daemon/serve/usual.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "daemon/serve/conclusions.h"

namespace roundel::serve {
namespace {

// The page asks for the cut of a sector by its middle, the sector being as wide as is usual.
Work work_of_cuts(const Door& door, const Query& query) {
  const auto& route = std::get<FromStore>(find_route("/api/cut")->handler);
  Work out = door.work("/api/cut", route, query);
  out.key += "\x1D of every sector";
  out.is_lasting = false;
  out.work = nullptr;
  out.many = [&door, &route, query](const schema::Store& store) {
    std::vector<double> bearings_deg;
    return cuts(door.ask(query), store, bearings_deg).map([&](std::vector<Answer> answers) {
      std::vector<KeyedAnswer> keyed;
      for (std::size_t i = 0; i < answers.size(); ++i) {
        const Query one = query.with("bearing_deg", fmt::format("{}", bearings_deg[i]));
        keyed.push_back({door.work("/api/cut", route, one).key, std::move(answers[i])});
      }
      return keyed;
    });
  };
  return out;
}

}  // namespace

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
    query = query.with("antenna", *antenna);
  std::vector<Work> out;
  for (const char* path : {"/api/reach", "/api/field", "/api/verdict", "/api/drift"})
    out.push_back(door.work(path, std::get<FromStore>(find_route(path)->handler), query));
  out.push_back(work_of_cuts(door, query));
  return out;
}

}  // namespace roundel::serve
