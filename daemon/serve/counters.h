// What the server counts of itself, for /metrics. Belongs to the network thread.
#pragma once
#include <cstdint>
#include <map>
#include <string>

namespace roundel::serve {

struct Counters {
  std::map<int, std::int64_t> answers;          ///< by HTTP status
  std::map<std::string, std::int64_t> refused;  ///< connections and requests, by limit
  std::int64_t connections{};                   ///< open now
  std::int64_t event_clients{};                 ///< reading /api/live now
  std::int64_t failures{};                      ///< sessions ended by an exception
};

}  // namespace roundel::serve
