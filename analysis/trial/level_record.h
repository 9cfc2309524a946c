// What all flights of a record tell of levels.
#pragma once
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "analysis/pattern/flights_by_id.h"
#include "analysis/pattern/hour_levels.h"
#include "roundel/pattern/exposure.h"
#include "roundel/schema/rows.h"

namespace roundel::trial {

/// Collects hours, then answers by flight.
class LevelRecord {
 public:
  /// @param flights  all there may be, by id; others' groups are left out
  LevelRecord(double sector_deg, std::vector<schema::Flight> flights);
  /// What an exposure holds of it.
  static LevelRecord of(const pattern::Exposure& exposure);

  /// Not before the first that was added.
  void add(pattern::HourLevels hour);
  /// Once, after the last.
  void finish();

  bool empty() const { return parts_.empty(); }
  int n_sectors() const { return n_sectors_; }
  std::size_t n_flights() const { return flights_.size(); }
  std::size_t n_hours() const { return static_cast<std::size_t>(n_hours_); }
  std::int64_t hour_s(std::size_t hour) const {
    return first_hour_s_ + static_cast<std::int64_t>(hour) * 3600;
  }
  /// First and one past the last second with a cell.
  std::optional<std::int64_t> from_s() const { return from_s_; }
  std::optional<std::int64_t> to_s() const { return to_s_; }

  /// Calls `visit` with the groups of a flight, those of a part of it at a time.
  template <class Visit>
  void each_part(std::size_t flight, const Visit& visit) const {
    for (std::size_t i = first_part_[flight]; i < first_part_[flight + 1]; ++i)
      visit(std::span(parts_[i].groups, parts_[i].n));
  }
  /// As thinned() has it, by the sectors in which a flight tells a level; flights that do not stay
  /// are not listed.
  pattern::Exposure sample(int flights_per_sector) const;

 private:
  struct Part {
    const pattern::LevelGroup* groups;
    std::uint32_t n, flight;
  };
  void add_parts(const pattern::HourLevels& hour);
  std::vector<bool> chosen(int flights_per_sector) const;

  double sector_deg_;
  int n_sectors_;
  std::vector<schema::Flight> flights_;
  pattern::FlightsById by_id_;
  std::int64_t first_hour_s_ = 0, n_hours_ = 0;
  std::optional<std::int64_t> from_s_, to_s_;
  std::vector<std::int64_t> heard_histogram_ = std::vector<std::int64_t>(256);
  std::vector<std::vector<pattern::LevelGroup>> groups_;  // by hour; they stay where they are
  std::vector<Part> parts_;                               // by flight, once finished
  std::vector<std::size_t> first_part_;                   // by flight, one more
};

}  // namespace roundel::trial
