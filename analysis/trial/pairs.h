// Cells of two feeds put side by side: same aircraft, same window.
#pragma once
#include <array>
#include <cstdint>
#include <memory>
#include <unordered_map>
#include <vector>

#include "analysis/pattern/horizon_table.h"
#include "roundel/schema/rows.h"
#include "roundel/site/sightline.h"
#include "roundel/trial/compare.h"

namespace roundel::trial {

/// A run of cells of one flight that look alike from the antennas: what each side heard of the
/// same chances.
struct PairGroup {
  float offset_db{};  ///< geometry: spreading and a dipole's elevation factor
  float heard_a{}, heard_b{}, chances{};
  std::uint32_t flight{};  ///< counted within Pairs
  std::uint32_t hour{};    ///< Unix time / 3600
  std::uint16_t sector{};
  std::uint16_t stratum{};
};

struct Pairs {
  std::vector<PairGroup> groups;  ///< by flight, then sector, then time
  std::uint32_t n_flights{};
  std::int64_t n_cells{};
  FirstLast first_last;
};

inline constexpr std::int64_t windows_per_minute = 60 / schema::window_s;
/// A contact ends where nobody heard the aircraft for longer.
inline constexpr std::int64_t break_windows = 1800 / schema::window_s;
/// A side that hears nobody in a minute in which the other hears so many is deaf.
inline constexpr int deaf_aircraft = 3;

/// Who was first and last in a contact, by the windows in which each side first and last heard it;
/// -1: never. Near an edge of what both recorded nothing is told.
template <class NearEdge>
void tell_first_last(const std::array<std::int64_t, 2>& first,
                     const std::array<std::int64_t, 2>& last, const NearEdge& near_edge,
                     FirstLast& tally) {
  if (first[0] >= 0 && first[1] < 0) ++tally.a_only;
  if (first[1] >= 0 && first[0] < 0) ++tally.b_only;
  if (first[0] < 0 || first[1] < 0) return;
  if (!near_edge(std::min(first[0], first[1])))
    ++(first[0] < first[1]   ? tally.a_first
       : first[0] > first[1] ? tally.b_first
                             : tally.same_first);
  if (!near_edge(std::max(last[0], last[1])))
    ++(last[0] > last[1] ? tally.a_last : last[0] < last[1] ? tally.b_last : tally.same_last);
}

/// Groups by flight, then sector, then as they came.
void in_order(Pairs& pairs);

/// Pairs cells in time order. A contact is one aircraft heard by either side without a break of
/// half an hour; its first and last cell are partial for whoever heard it, and left out. Minutes
/// in which one side heard nobody and the other three aircraft or more are left out: it was deaf.
class PairBuilder {
 public:
  PairBuilder(const site::Viewpoint& viewpoint, double sector_deg)
      : limit_(site::effective_earth_limit(viewpoint)),
        horizons_(*limit_),
        sector_deg_(sector_deg) {}

  /// @param side  0: a, 1: b. @param stratum  of the cell's time.
  /// @param line  to the cell
  void add(int side, std::uint16_t stratum, const schema::Cell& cell, const site::Sightline& line,
           std::uint64_t address);
  /// Both sides begin or end recording: contacts that begin or end here say nothing of who is
  /// first.
  void edge(std::int64_t time_s) { edges_.push_back(time_s / schema::window_s); }
  Pairs finish();

 private:
  struct Half {
    bool present = false;
    int heard = 0;
  };
  struct PairCell {
    std::int64_t window{};
    site::Sightline line{};
    double altitude_ft{};
    int expected = 0;
    bool is_sure = false;
    std::uint16_t stratum{};
    std::array<Half, 2> half{};
  };
  struct Entry {
    std::uint64_t address{};
    std::int64_t window{};
    int side{};
    std::uint16_t stratum{};
    std::uint8_t heard{}, expected{};
    bool is_sure{};
    float altitude_ft{};  ///< whole feet
    site::Sightline line{};
  };
  /// What entries are sorted by, side by side in memory.
  struct Place {
    std::uint64_t address;
    std::int64_t when;  ///< by window, then side
    std::size_t entry;
  };
  struct Contact {
    bool open = false, has_pending = false;
    std::uint32_t flight{};
    std::int64_t last_window{};
    std::array<std::int64_t, 2> first_heard{-1, -1}, last_heard{-1, -1};
    PairCell pending;
    bool run_open = false;
    PairGroup run;
    double offset_sum{};
    int n{};
    int offset_bin{};
  };
  void close_minute();
  void take(std::uint64_t address, const PairCell& cell);
  void keep(Contact& contact, const PairCell& cell);
  void flush(Contact& contact);
  void close(Contact& contact);
  bool near_edge(std::int64_t window) const;

  std::unique_ptr<site::Limit> limit_;
  pattern::HorizonTable horizons_;
  double sector_deg_;
  std::int64_t minute_ = -1;
  std::vector<Entry> entries_;
  std::vector<Place> order_;
  std::unordered_map<std::uint64_t, Contact> contacts_;
  std::vector<std::int64_t> edges_;
  Pairs out_;
};

}  // namespace roundel::trial
