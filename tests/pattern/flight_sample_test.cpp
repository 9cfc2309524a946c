#include "analysis/pattern/flight_sample.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace roundel::pattern {
namespace {

constexpr int n_sectors = 24;

// Flights that cross some sectors beside each other, most of them on one side.
std::vector<Candidacy> traffic(std::uint32_t n, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  std::vector<Candidacy> out;
  for (std::uint32_t i = 0; i < n; ++i) {
    Candidacy one{sample_key(i), {}};
    const auto first = random() % 4 == 0 ? random() % n_sectors : random() % 8;
    const auto width = random() % 6;  // none for some: they were never recorded whole
    for (std::uint64_t s = first; s < std::min<std::uint64_t>(first + width, n_sectors); ++s)
      one.sectors.push_back(static_cast<std::uint16_t>(s));
    out.push_back(std::move(one));
  }
  return out;
}

TEST(FlightSample, GivesUpNoFlightThatStays) {
  for (const std::uint64_t seed : {1U, 2U, 3U})
    for (const int per_sector : {1, 5, 40}) {
      const auto flights = traffic(2000, seed);
      const auto stays = sample(flights, n_sectors, per_sector);
      Prospects prospects(n_sectors, per_sector);
      std::size_t n_kept = 0;
      for (std::size_t i = 0; i < flights.size(); ++i) {
        const bool is_kept = prospects.has_any(flights[i]);
        n_kept += is_kept;
        EXPECT_TRUE(is_kept || !stays[i]) << i << ", " << per_sector << " a sector";
      }
      EXPECT_LT(n_kept, flights.size() / 2) << per_sector << " a sector";
    }
}

TEST(FlightSample, HoldsEverySectorsShareOrAllThatThereAre) {
  const auto flights = traffic(2000, 4);
  const auto stays = sample(flights, n_sectors, 40);
  for (std::uint16_t sector = 0; sector < n_sectors; ++sector) {
    int n_all = 0, n_stay = 0;
    for (std::size_t i = 0; i < flights.size(); ++i) {
      const auto& crossed = flights[i].sectors;
      if (std::find(crossed.begin(), crossed.end(), sector) == crossed.end()) continue;
      ++n_all;
      n_stay += stays[i];
    }
    EXPECT_GE(n_stay, std::min(n_all, 40)) << sector;
  }
}

}  // namespace
}  // namespace roundel::pattern
