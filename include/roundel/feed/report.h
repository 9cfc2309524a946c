// One decoded position message, as received, and the reasons why one is not recorded.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace roundel::feed {

/// One decoded position message. Not yet judged plausible; finite by construction.
struct Report {
  std::optional<double> time_s;  ///< feed clock, Unix seconds; none: use arrival
  std::uint32_t address{};       ///< 24-bit ICAO address
  double latitude_deg{}, longitude_deg{};
  std::optional<double> altitude_ft;  ///< pressure altitude
  std::optional<double> signal_dbfs;
  bool on_ground{};
  double age_s{};  ///< of the position when it arrived; `time_s` has it subtracted already
};

/// Why a line or report is not in a cell. Each has a counter; the names are stored and shown.
enum class Reject : std::uint8_t {
  too_long,      ///< line above the framing limit
  malformed,     ///< not readable by the layout
  not_position,  ///< kept out by the layout's `keep`, or a line without a position
  bad_address,   ///< address missing, not hex, or 000000 / ffffff
  bad_position,  ///< outside [-90, 90] / [-180, 180], or exactly 0, 0
  bad_altitude,  ///< outside -1500 .. 60 000 ft
  bad_signal,    ///< a level outside -200 .. 100 dBFS
  no_altitude,   ///< none on the line, none to carry
  on_ground,
  stale,              ///< more than 60 s behind the feed's newest
  future,             ///< leaps ahead of the feed's clock and is not confirmed
  already_recorded,   ///< lies in feed time that was recorded before (a file loaded twice)
  impossible_speed,   ///< too far from the aircraft's own track
  folded,             ///< displaced by one position-decoding ambiguity cell
  beyond_horizon,     ///< farther than any duct would explain
  no_trial,           ///< nothing was mounted then
  too_many_aircraft,  ///< more addresses at once than can be real
};
inline constexpr std::array<std::string_view, 17> reject_names{
    "too_long",     "malformed",        "not_position",     "bad_address", "bad_position",
    "bad_altitude", "bad_signal",       "no_altitude",      "on_ground",   "stale",
    "future",       "already_recorded", "impossible_speed", "folded",      "beyond_horizon",
    "no_trial",     "too_many_aircraft"};
constexpr std::string_view name_of(Reject reason) {
  return reject_names[static_cast<std::size_t>(reason)];
}

}  // namespace roundel::feed
