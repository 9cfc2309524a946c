// A flight looked up by its number: for millions of cells.
#pragma once
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::pattern {

/// Flights of a selection by number: a week's cells ask six million times.
class FlightsById {
 public:
  /// @param flights  by id; must outlive this
  explicit FlightsById(const std::vector<schema::Flight>& flights)
      : first_(flights.empty() ? 0 : flights.front().id) {
    if (!flights.empty())
      by_id_.resize(static_cast<std::size_t>(flights.back().id - first_) + 1, nullptr);
    for (const schema::Flight& flight : flights)
      by_id_[static_cast<std::size_t>(flight.id - first_)] = &flight;
  }
  const schema::Flight* find(schema::Id id) const {
    const auto at = static_cast<std::size_t>(id - first_);  // smaller ones wrap to very large
    return at < by_id_.size() ? by_id_[at] : nullptr;
  }

 private:
  schema::Id first_;
  std::vector<const schema::Flight*> by_id_;
};

}  // namespace roundel::pattern
