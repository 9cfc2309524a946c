// The vertical cut: one bearing from the side, range against altitude, and what was heard there.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "roundel/pattern/verdict.h"
#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"
#include "roundel/site/limit.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

struct CutOptions {
  double bearing_deg = 0;          ///< any in the sector wanted; [0, 360)
  double sector_deg = 5;           ///< divides 360 evenly; [1, 45]
  double range_step_km = 10;       ///< of a bin; [1, 100]
  double altitude_step_ft = 2000;  ///< of a bin; [500, 20 000]
  double top_ft = 60'000;          ///< horizon and elevation lines end there
  std::vector<double> elevations_deg{0, 1, 2, 3, 5, 10, 20};  ///< lines to draw
  std::size_t most_flights = 250;                             ///< listed; of more the latest
  bool from_summaries = false;  ///< the verdict, not the cut: as VerdictOptions says
};

/// A place in the cut: along the ground, and pressure altitude above mean sea level.
struct CutPoint {
  double range_km{}, altitude_ft{};
};

/// Chances and reports of all flights in one bin of range and altitude.
struct CutBin {
  CutPoint middle;
  std::int64_t heard{}, expected{};  ///< expected > 0
};

/// A line of constant elevation above the antenna's horizontal.
struct CutElevation {
  double elevation_deg{};
  std::vector<CutPoint> line;  ///< by range, from 0
};

struct CutFlight {
  std::uint64_t address{};
  std::int64_t from_s{}, to_s{};       ///< first and one past last cell in the sector
  double nearest_km{}, farthest_km{};  ///< where it was heard
  std::int64_t heard{}, expected{};
};

struct CutHour {
  std::int64_t hour_s{};  ///< its start
  std::int64_t heard{}, expected{};
};

struct Cut {
  double bearing_deg{};  ///< of the sector's middle
  double sector_deg{}, range_step_km{}, altitude_step_ft{};
  std::string limit_method;       ///< of `horizon`
  std::string refraction;         ///< of `elevations`
  std::vector<CutBin> bins;       ///< by range, then altitude; those without a chance left out
  std::vector<CutPoint> horizon;  ///< at the sector's middle, by altitude
  std::vector<CutElevation> elevations;  ///< rising; the cut-off's among them
  std::vector<CutFlight> flights;        ///< heard in the sector, by time; the latest of n_flights
  std::vector<CutHour> hours;            ///< with a chance, in order
  std::int64_t n_flights{};              ///< heard in the sector
  std::int64_t n_cells{};                ///< in `bins`
  std::int64_t n_beyond{};               ///< heard beyond 105 % of the horizon: left out
  std::optional<SectorVerdict> judged;   ///< what the verdict says of the sector; its cut-off
  std::optional<double> cutoff_deg() const { return judged ? judged->cutoff_deg : std::nullopt; }
};

/// Altitude at which a place stands at an elevation as seen from the antenna: the triangle of
/// Viewpoint::to() solved for its third side, with r1 = k R + h1, t = range / (k R):
///     r2 = r1 cos(e) / cos(e + t)
/// None where the ray never gets there: e + t at or beyond 90 degrees.
std::optional<double> altitude_ft_at(const site::Viewpoint& viewpoint,
                                     const site::Overground& place, double elevation_deg);

/// Collects the cells of one sector; those of others cost their bearing only.
///
/// Bins hold whole cells, silent ones included; a flight's first and last are partial and left out.
/// Longer silences, inferred from both ends (Cell::uncertainty_km), count too where they are known
/// to a bin: behind a wall they are all there is. So the share is that of the traffic in contact
/// before or after, not of all that flew.
class CutBuilder {
 public:
  /// The viewpoint and limit must outlive the builder. Options are checked by check().
  CutBuilder(const site::Viewpoint& viewpoint, const site::Limit& limit, const CutOptions& options,
             std::span<const schema::Flight> flights);
  /// One of another sector. They share what they look up: all on one thread.
  CutBuilder beside(double bearing_deg) const;
  CutBuilder(CutBuilder&&) noexcept;
  CutBuilder& operator=(CutBuilder&&) noexcept;
  ~CutBuilder();

  /// In order of window. A cell of an unknown flight is ignored.
  void add(const schema::Cell& cell);
  /// @param over  where it stands, as the viewpoint has it
  void add(const schema::Cell& cell, const site::Overground& over);
  /// Takes what another one of the same sector has collected, of later hours.
  void join(CutBuilder later);
  /// Once, at the end.
  /// @param judged  the sector as the verdict has it; none: without
  Cut finish(const std::optional<SectorVerdict>& judged = {});

  /// Errc::bad_usage names the option that makes no sense.
  static Result<void> check(const CutOptions& options);

 private:
  struct Impl;
  explicit CutBuilder(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// What the verdict says of every sector.
using JudgedSectors = std::vector<SectorVerdict>;

/// The cut of a selection with the sector's state and cut-off from verdict(). A selection that
/// holds several antennas or arrangements has no verdict: its cut comes without. Errc as for
/// reach(), and bad_usage for an option that makes no sense.
/// @param judged  of this selection, where that is known; null: worked out, which takes longer than
///   the cut
Result<Cut> cut(const schema::Store& store, const schema::Selection& which,
                const CutOptions& options, const JudgedSectors* judged = nullptr);

/// The cuts of all sectors, in order, for one pass and one verdict.
/// @param options  its bearing does not matter
Result<std::vector<Cut>> cuts(const schema::Store& store, const schema::Selection& which,
                              const CutOptions& options, const JudgedSectors* judged = nullptr);

}  // namespace roundel::pattern
