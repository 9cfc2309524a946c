// Traffic and reception with a known truth, as single reports or as the cells a recorder would
// keep.
#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

/// What one trial really was.
struct TrialTruth {
  schema::Trial trial;  ///< id: 1, 2, ... in the scenario's order
  /// Relative gain by bearing, [k] at k degrees, mean zero: antenna as turned, plus mount.
  std::array<double, 360> pattern_db{};
  std::array<double, 360> antenna_db{};  ///< the antenna alone, unturned, its mean removed
  std::array<double, 360> mount_db{};    ///< the mount alone, its mean removed
  double mean_db{};                      ///< what was removed, with the receiver's offset
  /// Gain by elevation less what a half-wave dipole has, each against its own peak: the antenna,
  /// averaged over bearings where it leans, with half of what the aircraft's upper antennas lose.
  static constexpr std::size_t n_elevations = 47;
  static constexpr double elevation_deg(std::size_t i) {
    return 0.5 + 0.25 * static_cast<double>(i);
  }
  std::array<double, n_elevations> elevation_db{};
  std::int64_t sent{};   ///< squitters of aircraft within the traffic's radius while it ran
  std::int64_t heard{};  ///< that got through
};

/// What one feed printed.
struct FeedTruth {
  std::string name;
  std::int64_t lines{};  ///< of all kinds below
  std::int64_t repeats{}, wild{}, ghosts{}, folded{}, late{}, no_altitude{};
  std::int64_t throttled{};  ///< heard but not printed
  std::int64_t extrapolated{}, network{};
  std::int64_t beyond_horizon{};  ///< heard at more than 105 % of the horizon
};

/// What one flight really was.
struct FlightTruth {
  std::uint32_t address{};
  double first_s{}, last_s{};  ///< in the air within the area
  double power_db{};           ///< with its type's
  std::string type;
};

struct Truth {
  Scenario scenario;  ///< completed
  std::vector<TrialTruth> trials;
  std::vector<FeedTruth> feeds;        ///< reports only
  std::array<double, 360> mask_deg{};  ///< highest wall at k degrees at the end; 0 where none
  std::vector<FlightTruth> flights;    ///< of aircraft that could be heard at all
};

/// The truth as JSON: scenario's equipment and events, trials, feeds, mask, flights if asked for.
std::string truth_json(const Truth& truth, bool with_flights);

// --- As reports ------------------------------------------------------------------------------

/// One line of a feed.
struct Report {
  double time_s{};  ///< on the feed's clock, to 1 ms
  std::uint32_t address{};
  double latitude_deg{}, longitude_deg{};
  std::optional<double> altitude_ft;
  std::optional<double> signal_dbfs;
};

/// Called in order of printing; feed is an index into Truth::feeds. Return false to stop.
using ReportVisit = std::function<bool(std::size_t feed, const Report& report)>;
/// Every squitter decided one by one. Memory does not grow with the hours, but for Truth::flights.
Result<Truth> reports(const Scenario& scenario, const ReportVisit& visit);

/// Appends the report as one line of the default NDJSON layout, with its line end.
void append_line(std::string& out, const Report& report);

// --- As cells --------------------------------------------------------------------------------

/// Called in order of window, then flight id, as Store::each_cell does. trial is an index into
/// Truth::trials. flight.last_window is not known yet.
using CellVisit =
    std::function<void(std::size_t trial, const schema::Flight& flight, const schema::Cell& cell)>;
/// The cells a recorder would keep, drawn directly: counts are binomial at each window's mean
/// position (19 to 21 messages are sent in a window, so heard may exceed expected), silent cells
/// stand between heard ones up to 5 min apart, the first and last cell of a flight are partial but
/// not marked, flights end at breaks over 30 min. No `inferred` cells. Values are rounded as
/// stored. Feed faults that a recorder rejects by report count as not heard.
/// @return the truth, and every flight by id in `flights` when given
Result<Truth> cells(const Scenario& scenario, const CellVisit& visit,
                    std::vector<schema::Flight>* flights = nullptr);

/// The same, gathered. flights[i].id is i + 1 and trials[i].id is i + 1.
struct CellSet {
  std::vector<schema::Trial> trials;
  std::vector<schema::Flight> flights;
  std::vector<schema::Cell> cells;  ///< by window, then flight
  Truth truth;
};
Result<CellSet> cells(const Scenario& scenario);

}  // namespace roundel::simulate
