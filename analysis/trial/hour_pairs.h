// Whole hours of two sides put side by side, from what summaries keep of their flights.
#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <unordered_map>
#include <utility>
#include <vector>

#include "analysis/pattern/hour_exposure.h"
#include "analysis/trial/pairs.h"
#include "roundel/trial/compare.h"

namespace roundel::trial {

/// Pairs as PairBuilder does, hours in order of time. Same aircraft, same sector, same 0.75 dB of
/// path loss stand for same cells: chances are those of the side that had more. A flight's first
/// and last cell count where the other side was following it before, or after. An hour in which a
/// side was deaf for five minutes or more is left out.
class HourPairs {
 public:
  /// Gets each hour when it has been paired, by side in order of time.
  using Paired = std::function<void(int side, pattern::HourExposure)>;
  explicit HourPairs(Paired paired) : paired_(std::move(paired)) {
    // Groups that move as they grow are touched twice over; what is never touched costs nothing.
    constexpr std::size_t of_a_week = 500'000;
    out_.groups.reserve(of_a_week);
  }

  /// @param side     0: a, 1: b
  /// @param overlap  both record throughout; what `stratum` it is
  void add(int side, std::uint16_t stratum, const Interval& overlap, pattern::HourExposure hour);
  /// Nothing more comes of the hour of the last add().
  void close_hour();
  /// Adds all to those of cells.
  void finish(Pairs& out);

 private:
  struct Side {
    int side;
    const pattern::FlightHour* flight;
  };
  struct Contact {
    bool open = false;
    std::uint32_t number{};
    std::int64_t last_window{};
    std::array<std::int64_t, 2> first_heard{-1, -1}, last_heard{-1, -1};
  };
  struct Entry {
    std::uint32_t place;  // sector, then bin of spreading
    std::uint8_t side;
    bool is_sure;
    std::uint16_t heard, chances, cells;
    float spreading_db, elevation_deg, horizon_ratio;
  };
  bool is_deaf() const;
  void follow(const std::vector<Side>& flights);
  void add_group(int side, const pattern::Group& group);
  void join(std::uint32_t contact);
  void close(Contact& contact);
  bool near_edge(std::int64_t window) const;

  Paired paired_;
  std::int64_t hour_s_ = -1;
  std::uint16_t stratum_{};
  Interval overlap_{};
  std::vector<std::pair<int, pattern::HourExposure>> hour_;  // its sides
  std::vector<Entry> entries_;                               // of an aircraft's hour
  std::unordered_map<std::uint64_t, Contact> contacts_;      // by address
  Pairs out_;
};

}  // namespace roundel::trial
