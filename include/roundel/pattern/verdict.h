// Is the antenna omnidirectional? What is its pattern, what is the site's doing, how sure is that?
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/pattern/circle.h"
#include "roundel/pattern/cutoff.h"
#include "roundel/pattern/exposure.h"
#include "roundel/pattern/gain.h"
#include "roundel/pattern/reach.h"

namespace roundel::pattern {

enum class Answer { omnidirectional, not_omnidirectional, undecided };
std::string_view name_of(Answer answer);

enum class State {
  horizon,     ///< heard out to 90 % of the horizon where there was traffic to hear
  signal,      ///< the rate falls with distance before the horizon
  obstructed,  ///< an elevation cut-off explains it better
  unjudged,    ///< too few flights
};
std::string_view name_of(State state);

struct VerdictOptions {
  double tolerance_db = 3;  ///< peak-to-peak ripple within which an antenna counts; (0, 20]
  double confidence = 0.95;
  bool from_summaries = false;  ///< whole hours from their summaries, for sectors of 5 degrees
};

struct SectorVerdict {
  double bearing_deg{};                            ///< of the middle
  std::optional<double> gain_db, low_db, high_db;  ///< relative to the mean; pointwise interval
  State state = State::unjudged;
  std::optional<double> cutoff_deg, cutoff_low_deg, cutoff_high_deg;
  std::optional<double> reach_km, horizon_km;
  std::int64_t flights{}, cells{};
  /// Of the flights followed far out, those with chances at 86 to 95 % of the horizon, and how many
  /// of them were heard there: what `horizon` and `signal` are told from.
  std::int64_t far_flights{}, far_heard{};
};

struct Direction {  ///< a run of bearings, clockwise; 0 to 360 is all round
  double from_deg{}, to_deg{};
};

/// How one method fared.
struct MethodReport {
  bool used = false;
  int sectors{};          ///< with enough flights
  double rms_error_db{};  ///< mean standard error of a sector
  std::string remark;     ///< why not used, or what to doubt; may be empty
};

/// What keeps the answer open.
struct Missing {
  std::vector<Direction> bearings;  ///< too few flights there
  std::optional<double> hours;      ///< more, at the traffic seen so far by hour of day
  bool is_precision = false;        ///< all bearings seen, band still too wide
};

struct Verdict {
  Answer answer = Answer::undecided;
  VerdictOptions options;
  Ripple ripple;
  Curve curve;  ///< the pattern, smoothed; relative gain by sector
  std::vector<SectorVerdict> sectors;
  std::vector<Harmonic> harmonics;  ///< orders 1 to 4
  MethodReport rate, strength;
  double conflict_p = 1, conflict_db{};
  double softness_db{}, ceiling{}, sigma_flight_db{};
  Throttle throttle;
  std::vector<std::int64_t> hours_off;      ///< starts of hours left out: receiver plainly off
  std::vector<std::int64_t> hours_ducting;  ///< left out: rich in ranges beyond the horizon
  Missing missing;
  std::int64_t flights{}, cells{}, silent_cells{};
  std::optional<std::int64_t> from_s, to_s;
  /// Gain by elevation over all bearings, antenna and aircraft together: 0 at the lowest told.
  struct ElevationGain {
    double elevation_deg{}, gain_db{}, low_db{}, high_db{};  ///< interval at the confidence asked
    std::int64_t flights{};
  };
  std::vector<ElevationGain> elevation;  ///< every half degree that enough flights tell of
  /// The antenna's axis off the vertical: its beam points up by this towards that bearing, and down
  /// on the other side.
  struct LeanFound {
    double lean_deg{}, low_deg{}, high_deg{};  ///< > 0
    double towards_deg{};                      ///< [0, 360)
  };
  std::optional<LeanFound> lean;  ///< none: nothing stands out of the noise
  /// What bearing and elevation together are off by beyond what flights scatter; it widens every
  /// interval. By held counts of each bearing at each elevation.
  double misfit_db{};
};

/// Method sections 4 to 7. `reach` of the same selection and sector width gives ranges.
///
/// omnidirectional: every pair of bearings differs by less than the tolerance, simultaneous
/// confidence over pairs, and no gap of unknown bearings wider than 15 degrees (an obstructed gap
/// counts as a gap). not_omnidirectional: some pair differs by more than the tolerance with the
/// same confidence. Otherwise undecided, with what is missing. Never fails: with no data all
/// sectors are unjudged.
Verdict judge(const Exposure& exposure, const Reach& reach, const VerdictOptions& options);

/// What every estimate by sector asks for. Errc::bad_usage names the option.
/// @param sector_deg  divides 360; [1, 45]
/// @param confidence  [0.5, 1)
Result<void> check_sector_deg(double sector_deg);
Result<void> check_confidence(double confidence);

/// judge() of the stored cells of a selection, which must hold one antenna, receiver, mount and
/// rotation only (Errc::bad_usage names the trials that differ). Other errors as for reach().
Result<Verdict> verdict(const schema::Store& store, const schema::Selection& which,
                        double sector_deg, const VerdictOptions& options);

/// Bearings whose sectors fulfil a condition, as runs.
std::vector<Direction> runs(const std::vector<bool>& which);

}  // namespace roundel::pattern
