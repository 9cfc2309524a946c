// Which flights stay when there are more than an estimate needs.
#pragma once
#include <cstddef>
#include <cstdint>
#include <vector>

namespace roundel::pattern {

/// A repeatable shuffle: a sample takes flights in the order of these.
/// @param ordinal  of the flight, in order of appearance
std::uint64_t sample_key(std::uint32_t ordinal);

/// A flight as a sample sees it.
struct Candidacy {
  std::uint64_t key;
  std::vector<std::uint16_t> sectors;  ///< that it crosses, ascending
};

/// Which flights stay: one after the other, those that cross a sector with fewer than
/// `flights_per_sector` so far.
std::vector<bool> sample(const std::vector<Candidacy>& flights, int n_sectors,
                         int flights_per_sector);

/// Which flights may still come into the sample, asked as they end. In one of their sectors fewer
/// than `flights_per_sector` stand before them in the order; those that do stay for certain, and
/// more may come, never fewer.
class Prospects {
 public:
  Prospects(int n_sectors, int flights_per_sector)
      : most_(static_cast<std::size_t>(flights_per_sector)),
        first_keys_(static_cast<std::size_t>(n_sectors)) {}

  bool has_any(const Candidacy& flight);

 private:
  std::size_t most_;
  std::vector<std::vector<std::uint64_t>> first_keys_;  ///< by sector: heaps, the last on top
};

}  // namespace roundel::pattern
