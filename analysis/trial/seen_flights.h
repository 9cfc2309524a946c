// How many flights came up.
#pragma once
#include <cstdint>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::trial {

/// Counts flights by id, each once; a bit a flight.
class SeenFlights {
 public:
  void add(schema::Id id) {
    const auto at = static_cast<std::size_t>(id);
    if (at >= seen_.size()) seen_.resize(at + at / 2 + 1);
    n_ += !seen_[at];
    seen_[at] = true;
  }
  std::int64_t n() const { return n_; }

 private:
  std::vector<bool> seen_;
  std::int64_t n_ = 0;
};

}  // namespace roundel::trial
