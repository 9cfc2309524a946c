// What is stored, row by row, as values. See schema/README.md for the tables behind them.
#pragma once
#include <algorithm>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace roundel::schema {

using Id = std::int64_t;

/// Flights are numbered from 1 to this (a busy site meets 2000 a day: 22 years).
inline constexpr Id max_flight_id = (Id{1} << 24) - 1;
/// Trials likewise.
inline constexpr Id max_trial_id = (Id{1} << 24) - 1;

/// Length of a cell's window. Windows start at multiples of it.
inline constexpr int window_s = 10;
inline constexpr std::int64_t windows_per_hour = 3600 / window_s;
/// Position messages an airborne aircraft sends in a full window (random gap 0.4 to 0.6 s:
/// ICAO Annex 10 Vol IV; see method in docs).
inline constexpr int chances_per_window = 20;

/// Where the antenna stands.
struct SiteRow {
  std::string name;
  double latitude_deg{};   ///< WGS 84, north positive, [-90, 90]
  double longitude_deg{};  ///< east positive, [-180, 180]
  double ground_m{};       ///< ground above mean sea level
  double antenna_m{};      ///< antenna above ground
  double surface_m{};      ///< surrounding country above mean sea level
  friend bool operator==(const SiteRow&, const SiteRow&) = default;
};

/// An antenna, receiver, mount or feed: a number and a name.
struct Named {
  Id id{};
  std::string name;
};

/// An interval in which one antenna, on one mount at one rotation, was on one receiver.
struct Trial {
  Id id{};
  std::string feed, antenna, receiver, mount;
  double rotation_deg{};               ///< of the antenna, clockwise, [0, 360)
  std::int64_t start_s{};              ///< first second, feed time
  std::optional<std::int64_t> stop_s;  ///< first second after; none: still running
  std::string note;
};

/// A remark at a point in time ("reseated the connector").
struct Note {
  Id id{};
  std::int64_t time_s{};
  std::optional<Id> trial;
  std::string text;
};

/// One aircraft's cells of one trial without a break longer than 30 min.
struct Flight {
  Id id{};  ///< 1 .. max_flight_id
  Id trial{};
  std::uint64_t address{};                  ///< 24-bit ICAO address, or a keyed hash of it
  std::int64_t first_window{};              ///< window number (time / window_s) of the first cell
  std::optional<std::int64_t> last_window;  ///< of the last cell; none: still open
};

/// The flight of that number among flights sorted by it, as Store::flights gives them; null where
/// it is not among them (the recorder may have added it since).
inline const Flight* find_flight(std::span<const Flight> by_id, Id id) {
  const auto at = std::lower_bound(by_id.begin(), by_id.end(), id,
                                   [](const Flight& one, Id of) { return one.id < of; });
  return at != by_id.end() && at->id == id ? &*at : nullptr;
}

/// What the tables of cells can hold; a cell with more is refused. A position and the number of
/// reports have limits of their own kind.
inline constexpr double most_altitude_ft = 25. * 32767;  ///< up and down
inline constexpr double most_signal_dbfs = 32767. / 2;   ///< up and down
inline constexpr double most_uncertainty_km = 3276.7;
inline constexpr std::int64_t last_window = (std::int64_t{1} << 38) - 1;

/// One aircraft in one window of one trial.
struct Cell {
  std::int64_t window{};  ///< start time / window_s, 0 or later
  Id flight{};
  int heard{};            ///< reports that got through, repeats not counted, 0 .. 255
  int expected{};         ///< chances there were, 1 .. 255; chances_per_window for a whole window
  double latitude_deg{};  ///< mean position; interpolated where heard is 0. Stored to 1e-4 deg.
  double longitude_deg{};
  double altitude_ft{};               ///< pressure altitude, mean. Stored to 25 ft.
  std::optional<double> signal_dbfs;  ///< mean level. Stored to 0.5 dB.
  double uncertainty_km{};  ///< 0: measured or interpolated over at most 5 min; else `inferred`.
                            ///< Stored to 0.1 km.
};

/// An interval of feed time in which a feed was being recorded. Silence outside says nothing.
struct Coverage {
  Id feed{};
  std::int64_t from_s{};
  std::int64_t to_s{};  ///< first second after
};

/// How much of the cells stays, counted in the hours that have any (a clock that leaps removes
/// nothing) or by their size, at 31 bytes a cell. None: all.
struct Retention {
  std::optional<std::int64_t> hours, bytes;
  friend bool operator==(const Retention&, const Retention&) = default;
};

/// A feed's own clock against the computer's, as of the newest report.
struct FeedClock {
  double feed_time_s{};  ///< newest confirmed time in the feed's reports
  double arrival_s{};    ///< the computer's clock when that report came
};

/// Counts of reports: kind -> count. Kinds: "received", "stored", "repeat", or a reject's reason.
/// received = stored + repeat + the sum of the rejects, always.
using Tally = std::map<std::string, std::int64_t>;

/// The reason that the store itself counts: reports of a cell that a table has refused.
inline constexpr std::string_view refused_kind = "refused";

/// What was lost because a table refused its row.
struct Refused {
  std::int64_t rows{};                      ///< of cells and flights
  std::map<Id, std::int64_t> reports_of{};  ///< in those cells, by feed
  std::string latest{};                     ///< why the latest row was refused
};

}  // namespace roundel::schema
