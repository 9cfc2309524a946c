// Which heard cells of a flight others support: a range is believed only then.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <type_traits>

#include "roundel/pattern/reach.h"
#include "roundel/site/path.h"

namespace roundel::pattern {

/// Whether a cell tells what share got through: where it is, is known, and it was not cut short by
/// an end of its flight.
inline bool is_rated(const schema::Cell& cell, const schema::Flight& flight) {
  return cell.uncertainty_km == 0 && cell.window != flight.first_window &&
         cell.window != flight.last_window;
}

inline int band_of(double altitude_ft, const ReachOptions& options) {
  int band = 0;
  for (const double edge_ft : options.band_edges_ft) band += altitude_ft >= edge_ft;
  return band;
}

/// @tparam At  says how far by range_km
template <class At>
void keep_farther(std::optional<At>& best, const std::type_identity_t<At>& other) {
  if (!best || other.range_km > best->range_km) best = other;
}

/// A heard cell, until it is known whether others support it.
struct Candidate {
  std::int64_t window;
  double latitude_deg, longitude_deg, altitude_ft;
  float range_km, bearing_deg, horizon_km;
  std::int16_t sector, band;
  std::uint8_t heard;
  bool supported = false;
  bool track_supported = false;  ///< it, and all older ones that share a minute with it
};

/// One flight's heard cells of the last minute. ReachBuilder says what support is.
class Support {
 public:
  /// Calls `tell` with each candidate that now has support and had none before.
  template <class Tell>
  void add(const Candidate& newest, const ReachOptions& options, Tell tell) {
    constexpr double km_per_s_per_kn = site::km_per_nautical_mile / 3600;
    // Only what still shares one support_s with the newest cell, both cells included.
    const std::int64_t oldest = newest.window - options.support_s / schema::window_s + 1;
    while (size_ > 0 && at(0).window < oldest) pop_oldest();
    if (size_ == most) pop_oldest();  // a replaced cell is the only way here
    push(newest);

    std::array<bool, most> agrees{};
    int reports = 0;
    int cells = 0;
    for (std::size_t i = size_; i-- > 0;) {
      const Candidate& c = at(i);
      // Both positions are means over their windows: up to a window more may lie between them.
      const double time_s = static_cast<double>((newest.window - c.window + 1) * schema::window_s);
      agrees[i] = site::are_within({newest.latitude_deg, newest.longitude_deg},
                                   {c.latitude_deg, c.longitude_deg},
                                   options.max_speed_kn * km_per_s_per_kn * time_s);
      if (!agrees[i]) continue;
      reports += c.heard;
      ++cells;
      // On a track that has support already the newest needs no more than its neighbour's.
      if (i + 2 == size_ && cells == 2 && reports >= options.support_reports && c.track_supported) {
        at(size_ - 1).supported = at(size_ - 1).track_supported = true;
        tell(at(size_ - 1));
        return;
      }
    }
    if (cells < 2 || reports < options.support_reports) return;
    bool is_whole = true;
    for (std::size_t i = 0; i < size_; ++i) {
      if (agrees[i] && !at(i).supported) {
        at(i).supported = true;
        tell(at(i));
      }
      is_whole = is_whole && at(i).supported;
    }
    at(size_ - 1).track_supported = is_whole;
  }

 private:
  static constexpr std::size_t most = 6;  ///< windows of support_s
  static constexpr std::size_t places = 8;

  Candidate& at(std::size_t i) { return candidates_[(first_ + i) % places]; }
  void push(const Candidate& candidate) { candidates_[(first_ + size_++) % places] = candidate; }
  void pop_oldest() { first_ = (first_ + 1) % places, --size_; }

  std::array<Candidate, places> candidates_;
  std::size_t first_ = 0, size_ = 0;
};

}  // namespace roundel::pattern
