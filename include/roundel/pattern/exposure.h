// What was heard of what was sent, arranged for the estimators: cells condensed to groups, by
// flight.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "roundel/schema/rows.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

/// How a group of cells came to be.
enum class GroupKind : std::uint8_t {
  recorded,  ///< measured, or silent between heard cells: serves every estimate
  inferred,  ///< silent for longer than 5 minutes: serves the cut-off only
  beyond,    ///< extrapolated past a flight's first or last contact: serves the cut-off only
};

/// A run of consecutive cells of one flight that look alike from the antenna: same sector, same
/// hour, path loss within 0.5 dB, elevation within 0.25 degrees. Means are over cells.
struct Group {
  float spreading_db{};     ///< -20 log10(slant / 200 km)
  float elevation_deg{};    ///< above the antenna's horizontal
  float bearing_off_deg{};  ///< from the middle of the sector, clockwise
  float horizon_ratio{};    ///< range / 4-3 Earth horizon at that altitude
  float cos_aspect{};       ///< +1 nose towards the antenna, -1 tail, 0 broadside or unknown
  float level_sum_db{};     ///< sum of signal_dbfs over `levels` reports
  std::uint16_t heard{}, chances{}, cells{}, levels{};
  std::uint16_t sector{};
  std::uint16_t hour{};    ///< index into Exposure::hours
  std::uint32_t flight{};  ///< index into Exposure::flights
  GroupKind kind{};
};

struct FlightGroups {
  schema::Id id{};
  std::uint64_t address{};
  std::uint32_t first_group{}, n_groups{};
  std::uint32_t ordinal{};  ///< in order of appearance among all flights, those left out included
};

/// What one hour of the record looked like.
struct Hour {
  std::int64_t start_s{};
  std::int64_t cells{}, heard{}, chances{};
  std::int64_t beyond_horizon_cells{};  ///< heard at more than 105 % of the horizon

  /// Adds what was counted.
  void operator+=(const Hour& more) {
    cells += more.cells;
    heard += more.heard;
    chances += more.chances;
    beyond_horizon_cells += more.beyond_horizon_cells;
  }
};

/// What is counted of a selection, over all its flights.
struct ExposureCounts {
  double sector_deg{};
  int n_sectors{};
  std::vector<Hour> hours;
  std::int64_t n_flights{};  ///< all that have a cell
  std::int64_t n_cells{}, n_silent_cells{}, n_partial_cells{}, n_inferred_cells{};
  std::int64_t n_beyond_horizon_cells{};
  std::int64_t n_levels{};  ///< cells that carry a level
  std::optional<std::int64_t> from_s, to_s;
  std::vector<std::int64_t> sector_cells;    ///< recorded cells by sector
  std::vector<std::int64_t> sector_flights;  ///< flights that crossed the sector
  std::vector<std::int64_t>
      heard_histogram;  ///< whole cells within 100 km by reports heard, 0..255
};

/// Counts and groups. Groups stand by flight, within a flight by sector, then in time. Counts are
/// of all flights, `flights` those of the sample.
struct Exposure : ExposureCounts {
  std::vector<Group> groups;
  std::vector<FlightGroups> flights;

  std::span<const Group> of(const FlightGroups& flight) const {
    return std::span(groups).subspan(flight.first_group, flight.n_groups);
  }
};

struct HourExposure;

/// Builds an Exposure from cells in time order, as Store::each_cell visits them.
///
/// The first and last cell of a flight are partial and left out of groups. Past first and last
/// contact the flight is extended, straight on at its last speed and climb, by up to five minutes
/// of silent `beyond` cells: an aircraft does not end where it is last heard. Flights that begin or
/// end low (below 10 000 ft: departures, landings) or within two minutes of a time in which
/// nothing at all was heard are not extended.
class ExposureBuilder {
 public:
  /// @param sector_deg  divides 360 evenly; [1, 45]
  /// @param flights_per_sector  as for thinned(); 0: all flights stay. Groups of a flight that
  /// cannot
  ///   be in the sample are given up when it ends, so memory does not grow with their number.
  ExposureBuilder(const site::Viewpoint& viewpoint, double sector_deg, int flights_per_sector = 0);
  ExposureBuilder(ExposureBuilder&&) noexcept;
  ExposureBuilder& operator=(ExposureBuilder&&) noexcept;
  ~ExposureBuilder();

  /// @param flight the flight that cell.flight names
  void add(const schema::Cell& cell, const schema::Flight& flight);
  /// The same where its sightline is known already.
  void add(const schema::Cell& cell, const schema::Flight& flight, const site::Sighting& sighting);
  /// A whole hour at once, by the same sectors (analysis/pattern/hour_exposure.h). Not before the
  /// first that was added, nor before a flight's earlier hours.
  void add(HourExposure hour);
  /// Call once, at the end.
  Exposure finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// The groups of a sample of the flights: taken in a shuffled (but repeatable) order, a flight
/// stays if one of the sectors it crosses has fewer than `flights_per_sector` so far. Which flights
/// stay depends on where they flew, not on how they were heard, so estimates from the sample are
/// right, and their errors tell its size. Counts (hours, sectors, cells) are still those of all,
/// and flights that do not stay are still listed, without groups.
Exposure thinned(const Exposure& exposure, int flights_per_sector);

}  // namespace roundel::pattern
