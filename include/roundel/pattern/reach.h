// Reach: how far aircraft are heard on each bearing, held against the horizon.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/schema/store.h"
#include "roundel/site/limit.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

struct HourSummary;

/// What counts, and how it is divided. Defaults are the method's; where it leaves a figure open
/// (speed, hours) it is common practice, no source.
struct ReachOptions {
  double sector_deg = 5;                                     ///< divides 360 evenly; [1, 90]
  std::vector<double> band_edges_ft{6'000, 18'000, 29'000};  ///< ascending; bands lie between
  int support_reports = 3;        ///< reports of one flight that support a range
  int support_s = 60;             ///< within this time
  double max_speed_kn = 800;      ///< between them; faster is a bad position
  double max_ratio = 1.05;        ///< range over limit; beyond is ducting or bad position
  int rich_hour_flights = 3;      ///< an hour with so many flights beyond, ...
  double rich_hour_share = 0.01;  ///< ... and this share of heard cells, counts for nothing
  double half_rate_ratio = 0.92;  ///< half_rate looks at cells nearer than this share of the limit:
                                  ///< farther out the horizon takes the signal away
  bool half_rate_interval = true;  ///< false: its range alone, flights are not resampled
  double contact_min_ft = 10'000;  ///< flights begin and end lower because they land
  std::vector<double> limit_altitudes_ft{6'000, 18'000, 38'000};  ///< limit lines to draw
  site::RefractionSettings refraction;        ///< of the horizon that ratios are taken of
  double sea_level_hpa = site::standard_hpa;  ///< turns pressure altitudes into heights
  bool from_summaries = false;  ///< whole hours from their summaries: a year in a second
};

/// The farthest believable range of a set of cells.
struct Farthest {
  double range_km{};
  double bearing_deg{};
  double altitude_ft{};
  double horizon_km{};  ///< the limit at that altitude and bearing
  std::uint64_t address{};
  std::int64_t time_s{};  ///< start of the cell
  schema::Id flight{};    ///< whose address it is; 0: not told
  double ratio() const { return range_km / horizon_km; }
};

struct ReachBand {
  double low_ft{};                ///< the lowest band starts at 0 and holds what is below, too
  std::optional<double> high_ft;  ///< none: no upper end
  std::optional<Farthest> farthest;
  std::int64_t flights{}, cells{};  ///< heard in the band
};

/// Of the ranges at which flights are first, or last, heard.
struct Quartiles {
  double low_km{}, median_km{}, high_km{};
  std::int64_t flights{};
};

/// The range at which the heard share of chances falls to one half.
struct HalfRate {
  double range_km{};
  double low_km{};                ///< 95 % interval, flights resampled; not asked for: 0
  std::optional<double> high_km;  ///< none: no upper end within the traffic, or not asked for
  std::int64_t flights{};
};

struct ReachSector {
  double bearing_deg{};  ///< of the middle
  std::optional<Farthest> farthest;
  std::vector<ReachBand> by_altitude;  ///< lowest first
  std::optional<double> expected_km;   ///< for the farthest aircraft; filled in by expect()
  site::LimitCause expected_cause = site::LimitCause::horizon;
  std::optional<HalfRate> half_rate;
  std::optional<Quartiles> first_heard, last_heard;
  std::int64_t flights{}, cells{};  ///< heard in the sector, within max_ratio
};

/// An hour rich in ranges beyond the limit.
struct DuctingHour {
  std::int64_t hour_s{};
  std::int64_t flights{}, cells{};  ///< beyond the limit
  std::int64_t heard_cells{};       ///< all of the hour
};

/// What lies beyond max_ratio of the limit.
struct BeyondLimit {
  std::int64_t cells{};
  std::optional<Farthest> farthest;  ///< need not be supported
  std::vector<DuctingHour> hours;    ///< in order
};

struct LimitLine {
  double altitude_ft{};
  std::vector<double> range_km;  ///< by sector, at its middle
  double mean_km{};
};

struct Reach {
  double sector_deg{};
  std::string limit_method;          ///< names every ratio: "4/3 Earth"
  std::string expected_method;       ///< of expected_km; empty: nothing was asked for
  std::vector<ReachSector> sectors;  ///< clockwise from north
  std::optional<Farthest> farthest;  ///< of all sectors
  BeyondLimit beyond;
  std::vector<LimitLine> limits;
  std::int64_t flights{};                    ///< with a heard cell
  std::int64_t cells{}, reports{};           ///< heard, all of them
  std::optional<std::int64_t> from_s, to_s;  ///< first and one past last cell, any kind
};

/// Collects cells in one pass; memory grows with flights only, by two numbers each.
///
/// A range is *supported* when its flight has support_reports reports within support_s, in at
/// least two cells, none of which would need more than max_speed_kn to be got to from the others.
/// Cells beyond max_ratio are kept apart, and hours rich in them count for nothing but `beyond`.
///
/// half_rate: reports heard of expected by 10 km of range, made non-increasing (pool adjacent
/// violators), where it crosses one half; interval by bootstrap over 32 groups of flights, seeded.
/// Whole measured cells only (first and last of a flight are partial; inferred ones say nothing).
/// None below 5 flights, or where the share does not cross one half: a good site ends at its
/// horizon. What was never heard at all is no chance: a share among flights in contact.
///
/// first_heard, last_heard: of flights that begin (end) above contact_min_ft, within one minute of
/// no edge of the recording, nor cut by the selection.
class ReachBuilder {
 public:
  /// @param edges_s  when recording or a trial began or ended
  /// The viewpoint and limit must outlive the builder. Options are checked by check().
  ReachBuilder(const site::Viewpoint& viewpoint, const site::Limit& limit,
               const ReachOptions& options, std::span<const schema::Flight> flights,
               std::vector<std::int64_t> edges_s);
  ReachBuilder(ReachBuilder&&) noexcept;
  ReachBuilder& operator=(ReachBuilder&&) noexcept;
  ~ReachBuilder();

  /// In order of window. A cell of an unknown flight is ignored.
  void add(const schema::Cell& cell);
  /// The same where its place and the limit there are known already.
  void add(const schema::Cell& cell, const site::Overground& over, double limit_km);
  /// An hour of which only the summary is looked at, before any cell. What counts was decided when
  /// it was made (summary.h); flights count once an hour, and stand in half_rate's interval by
  /// hours.
  /// @pre sectors are whole multiples of the summary's, bands the default ones
  void add(const HourSummary& hour);
  /// Once, at the end.
  Reach finish();

  /// Errc::bad_usage names the option that makes no sense.
  static Result<void> check(const ReachOptions& options);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Fills in what was to be expected at each sector's farthest aircraft, and by which method.
void expect(Reach& reach, const site::Limit& expected);

/// Of the selected cells, by the horizon of the stored site; of hours whose cells are gone, by
/// their summaries (hours that begin in the selection). Errc: out_of_range (refraction), not_found
/// (no site; a name in the selection), bad_usage, and those of the store. No cells is no error.
Result<Reach> reach(const schema::Store& store, const schema::Selection& which,
                    const ReachOptions& options = {});

}  // namespace roundel::pattern
