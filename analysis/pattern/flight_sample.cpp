#include "analysis/pattern/flight_sample.h"

#include <algorithm>
#include <numeric>

namespace roundel::pattern {

// splitmix64's finaliser.
std::uint64_t sample_key(std::uint32_t ordinal) {
  std::uint64_t x = ordinal + 0x9e3779b97f4a7c15U;
  x = (x ^ (x >> 30U)) * 0xbf58476d1ce4e5b9U;
  x = (x ^ (x >> 27U)) * 0x94d049bb133111ebU;
  return x ^ (x >> 31U);
}

std::vector<bool> sample(const std::vector<Candidacy>& flights, int n_sectors,
                         int flights_per_sector) {
  std::vector<std::uint32_t> order(flights.size());
  std::iota(order.begin(), order.end(), 0U);
  std::sort(order.begin(), order.end(),
            [&](std::uint32_t a, std::uint32_t b) { return flights[a].key < flights[b].key; });
  std::vector<int> taken(static_cast<std::size_t>(n_sectors), 0);
  std::vector<bool> stays(flights.size(), false);
  for (std::uint32_t flight : order) {
    const auto& crossed = flights[flight].sectors;
    stays[flight] = std::any_of(crossed.begin(), crossed.end(), [&](std::uint16_t sector) {
      return taken[sector] < flights_per_sector;
    });
    if (!stays[flight]) continue;
    for (std::uint16_t sector : crossed) ++taken[sector];
  }
  return stays;
}

bool Prospects::has_any(const Candidacy& flight) {
  bool may_stay = false;
  for (const std::uint16_t sector : flight.sectors) {
    std::vector<std::uint64_t>& keys = first_keys_[sector];
    if (keys.size() == most_) {
      if (flight.key > keys.front()) continue;
      std::pop_heap(keys.begin(), keys.end());
      keys.pop_back();
    }
    keys.push_back(flight.key);
    std::push_heap(keys.begin(), keys.end());
    may_stay = true;
  }
  return may_stay;
}

}  // namespace roundel::pattern
