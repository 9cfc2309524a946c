// What one trial heard in one hour, by sector, range and elevation: reach and heard share from a
// year of hours in the time that cells of some days take.
#pragma once
#include <cstdint>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/summary.h"
#include "roundel/site/sightline.h"

namespace roundel::pattern {

/// How a summary divides what it counts. Fixed: a stored hour cannot be divided anew. Bands and
/// everything that decides what counts are the defaults of ReachOptions, the limit the smooth-earth
/// horizon by the default refraction.
struct SummaryBins {
  static constexpr double sector_deg = 5;
  static constexpr int n_sectors = 72;
  static constexpr int n_bands = 4;
  static constexpr double range_km = 10;
  static constexpr int n_ranges = 1024;               ///< the last holds what is beyond, too
  static constexpr double elevation_deg = 0.5;        ///< each, from lowest_deg
  static constexpr double lowest_elevation_deg = -1;  ///< the first bin holds what is below, too
  static constexpr int n_elevations = 26;             ///< the last holds 11.5 degrees and above
};

/// The farthest supported cell of a sector and altitude band. Stored to 10 m, 0.01 deg, 25 ft.
struct SummaryFarthest {
  int sector{}, band{};
  double range_km{}, bearing_deg{}, altitude_ft{};
  std::int64_t window{};
  schema::Id flight{};
};

/// Heard cells within max_ratio of the limit, and the flights they are of (each once an hour).
struct SummaryHeard {
  int sector{}, band{};  ///< n_bands: an older version counted by other bands
  std::int64_t cells{}, flights{};
};

/// A flight's first or last heard cell, above contact_min_ft and within max_ratio. To 0.1 km.
struct SummaryContact {
  int sector{};
  bool is_first{};
  std::int64_t window{};
  double range_km{};
};

/// Whole measured cells (not a flight's first or last, none inferred) nearer than half_rate_ratio
/// of the limit: reports heard of chances.
struct SummaryShare {
  int sector{}, range_bin{}, elevation_bin{};
  std::int64_t heard{}, expected{};
};

/// Of the field's bins (field.h): cells that it counts and no share does, as partial and inferred
/// ones, and those at the horizon and beyond.
struct SummaryOthers {
  int sector{}, step{};  ///< of field_step_km
  std::int64_t heard{}, expected{};
};

/// One hour of one trial.
struct HourSummary {
  schema::Id trial{};
  std::int64_t hour_s{};
  std::int64_t flights{};      ///< begun in this hour
  std::int64_t reports{};      ///< heard
  std::int64_t heard_cells{};  ///< all, also beyond the limit
  std::int64_t beyond_cells{}, beyond_flights{};
  std::optional<SummaryFarthest> beyond;  ///< need not be supported; its band is 0
  std::vector<SummaryFarthest> farthest;  ///< by sector, then band
  std::vector<SummaryHeard> heard;        ///< by sector, then band
  std::vector<SummaryContact> contacts;   ///< by window
  std::vector<SummaryShare> shares;       ///< by sector, range, elevation
  /// By sector, then step. None: an older version did not count them.
  std::optional<std::vector<SummaryOthers>> others;
};

/// Errc::corrupt when the bytes are none that a summariser wrote.
Result<HourSummary> read_summary(const schema::Summary& stored);

/// The summariser of a site, for Store::keep_summaries and check_summaries. Some 3 MB of tables,
/// and 8 bytes a cell of the hour. Errc::out_of_range for a site that cannot be.
///
/// A range is supported by cells of the same hour alone, so that an hour's cells tell its summary.
Result<std::unique_ptr<schema::Summariser>> make_summariser(const schema::SiteRow& site);
/// The same for whoever has a viewpoint of that site, by the standard atmosphere.
std::unique_ptr<schema::Summariser> make_summariser(site::Viewpoint viewpoint);

}  // namespace roundel::pattern
