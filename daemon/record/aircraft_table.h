// What is known of each aircraft now or lately heard.
#pragma once
#include <cstdint>
#include <vector>

#include "daemon/record/repeats.h"
#include "daemon/record/track.h"

namespace roundel::record {

/// One of a flight in the flight log; stays right when the place is given to another.
struct FlightRef {
  std::int32_t place = -1;
  schema::Id id = -1;
};

struct Aircraft {
  std::uint32_t address{};
  LatestPosition latest;  // of its reports, whatever became of them
  double last_time_s{};   // newest of them
  std::int64_t n_reports{};
  Track track;
  // Where range and horizon were last computed: a fix less than slack_km from there, and not
  // lower, cannot be beyond the limit.
  site::Place checked;
  double checked_altitude_ft{};
  double slack_km = -1;
  bool is_unambiguous = false;
  FlightRef current, previous;
};

/// Aircraft by address, at most `capacity` of them: memory is bounded, whatever a feed sends.
/// Addresses are found by open addressing; no allocation once the table has grown.
class AircraftTable {
 public:
  static constexpr std::size_t capacity = 4096;

  AircraftTable();
  /// The aircraft of that address, nullptr if not there. Pointers are good until add() or remove.
  Aircraft* find(std::uint32_t address) noexcept;
  /// Precondition: not there, size() < capacity, address is not 0.
  Aircraft& add(std::uint32_t address);
  std::size_t size() const noexcept { return aircraft_.size(); }

  auto begin() noexcept { return aircraft_.begin(); }
  auto end() noexcept { return aircraft_.end(); }

  template <class Predicate>
  void remove_if(Predicate is_gone) {
    if (std::erase_if(aircraft_, is_gone) > 0) index_anew();
  }

 private:
  std::size_t slot_of(std::uint32_t address) const noexcept;
  void index_anew();

  std::vector<Aircraft> aircraft_;
  // Twice the capacity or more, so that probes stay short. -1: free.
  std::vector<std::int32_t> index_;
};

}  // namespace roundel::record
