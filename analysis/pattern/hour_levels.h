// The little of an hour's exposure that says how strongly its flights were heard: for drift, which
// looks at every flight of a year.
#pragma once
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "analysis/pattern/hour_exposure.h"
#include "roundel/pattern/exposure.h"
#include "roundel/schema/rows.h"

namespace roundel::pattern {

/// A group that tells a level, or neighbours that say the same within what fading leaves to see: a
/// half of what a Group takes. Means are over chances.
struct LevelGroup {
  float spreading_db{}, elevation_deg{}, bearing_off_deg{}, cos_aspect{};
  std::uint16_t heard{}, chances{}, sector{};
  std::uint16_t hour{};  ///< index into those of a record
};

/// Groups of flights, one after the other.
struct HourLevels {
  struct OfFlight {
    schema::Id id{};
    std::uint32_t n_groups{};
  };
  std::int64_t start_s{}, first_window{}, last_window{};
  std::vector<std::int64_t> heard_histogram;  ///< as of an HourExposure
  std::vector<OfFlight> flights;              ///< in order of appearance
  std::vector<LevelGroup> groups;

  void begin_flight(schema::Id id) { flights.push_back({id, 0}); }
  /// To the flight begun last, where it tells a level.
  void add(const Group& group);
};

HourLevels levels_of(const HourExposure& hour);

/// The same of exposure_bytes(). None: these are no such bytes.
std::optional<HourLevels> levels_of(std::string_view bytes, std::int64_t hour_s);

}  // namespace roundel::pattern
