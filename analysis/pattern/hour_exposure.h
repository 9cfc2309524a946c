// What one hour showed of its flights: the part of an Exposure that is made hour by hour, from
// cells, and that summaries keep.
#pragma once
#include <algorithm>
#include <array>
#include <bitset>
#include <cmath>
#include <cstdint>
#include <optional>
#include <unordered_map>
#include <vector>

#include "analysis/pattern/run_of_cells.h"
#include "roundel/pattern/exposure.h"
#include "roundel/schema/rows.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

/// Position on the plane of range and bearing (azimuthal equidistant), with time and height.
struct TrackPoint {
  std::int64_t window{};
  double x_km{}, y_km{}, altitude_ft{};
};

/// How a flight goes on past one of its ends: through `end`, coming from `before`.
struct Ending {
  TrackPoint before, end;
};

/// What one flight showed in an hour. An ending is there where the flight began, or ended, in it,
/// and two of its cells were heard.
struct FlightHour {
  schema::Flight flight;
  std::vector<Group> groups;  ///< in time; their hour and flight are not set
  /// The cells that a flight begins and ends with: partial, and in no group. Beside a receiver that
  /// heard it before or after they tell as much as others.
  std::optional<Group> first_cell, last_cell;
  std::optional<Ending> backwards, forwards;
};

struct HourExposure {
  Hour counts;
  std::int64_t first_window{}, last_window{};  ///< of its cells
  std::int64_t silent_cells{}, partial_cells{}, inferred_cells{};
  std::int64_t levels{};                   ///< cells that carry one
  std::vector<std::int64_t> sector_cells;  ///< recorded cells by sector
  std::vector<std::int64_t> heard_histogram = std::vector<std::int64_t>(256);
  std::bitset<schema::windows_per_hour> heard_windows;  ///< in which anybody was heard
  std::array<std::uint8_t, 60> heard_aircraft{};        ///< by minute; 255 and more are 255
  std::vector<FlightHour> flights;                      ///< in order of appearance
};

inline std::uint16_t sector_of(double bearing_deg, double sector_deg, int n_sectors) {
  return static_cast<std::uint16_t>(
      std::min(static_cast<int>(bearing_deg / sector_deg), n_sectors - 1));
}

/// Shapes: to [N], more [N].
void add_each(std::vector<std::int64_t>& to, const std::vector<std::int64_t>& more);

/// Two parts of one hour into one.
void join(HourExposure& into, HourExposure other);

/// The hour by sectors `times` as wide.
void widen(HourExposure& hour, double sector_deg, int times);

/// Condenses the cells of an hour, in order of time.
class HourExposer {
 public:
  explicit HourExposer(double sector_deg)
      : sector_deg_(sector_deg), n_sectors_(static_cast<int>(std::lround(360 / sector_deg))) {}

  bool is_empty() const { return out_.counts.cells == 0; }
  /// @pre of the hour of all cells since take()
  bool is_of(std::int64_t window) const { return window / schema::windows_per_hour == hour_; }
  /// @param horizon_km  at the cell's altitude and bearing, over a 4/3 Earth
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting,
           double horizon_km);
  /// And begins anew.
  HourExposure take();

 private:
  static constexpr std::size_t track_points = 7;  // a minute of heard cells gives the track
  struct Following {
    FlightHour so_far;
    Run run;
    std::array<TrackPoint, track_points> first{}, last{};
    std::size_t n_first{}, n_last{};  // n_last counts all; last is a ring
    std::int64_t heard_minute = -1;   // the last
  };
  Following& following(const schema::Flight& flight);
  void record(Following& one, const schema::Cell& cell, const site::Sightline& line, double ratio,
              std::optional<double> cos_aspect);
  void flush(Following& one) const;
  Group finished(const Run& run) const;
  void open(Run& run, const site::Sightline& line, GroupKind kind) const;
  static void extend(Run& run, const schema::Cell& cell, const site::Sightline& line, double ratio,
                     std::optional<double> cos_aspect);

  double sector_deg_;
  int n_sectors_;
  std::int64_t hour_ = -1;
  HourExposure out_;
  std::vector<Following> following_;  // in order of appearance
  // Where a flight stands in it, by the last digits of its number: those of an hour are mostly near
  // to one another, and looking up six million cells of a week costs as much as all the rest.
  static constexpr std::size_t n_near = 4096;
  std::array<std::uint32_t, n_near> near_{};
  std::unordered_map<schema::Id, std::uint32_t> place_of_;
};

}  // namespace roundel::pattern
