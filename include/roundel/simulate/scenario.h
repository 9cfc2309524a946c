// A scenario: everything about a simulated site that its estimates will later be held against.
//
// A scenario is a plain struct with sensible defaults, filled by hand in tests
//     Scenario s; s.hours = 24; s.seed = 7; s.antenna("a").harmonic(1, 3.0, 40);
// or read from a TOML file, whose tables and keys are the members' names below, units included:
//     seed = 7                        top-level keys: seed, start, hours
//     [site] [reception] [aircraft] [traffic] [[traffic.airway]] [[traffic.airport]]
//     [[traffic.orbit]]
//     [[traffic.empty]] [[aircraft_type]] [[antenna]] [[antenna.harmonic]] [[antenna.notch]]
//     [antenna.mast] [antenna.elevation] [[mount]] (as antenna, without elevation) [[receiver]]
//     [[wall]] [[obstacle]] [[reflection]] [[trial]] [[step]] [[drift]] [[duct]] [[interference]]
//     [[feed]] [[feed.outage]] [[feed.network]] [[feed.clock_step]]
// Unknown keys, wrong types and values outside the ranges given here are refused with file:line.
#pragma once
#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/rows.h"

namespace roundel::simulate {

// --- What can be swapped ---------------------------------------------------------------------

/// amplitude_db * cos(order * (bearing - phase_deg)): phase is the bearing of a maximum.
struct Harmonic {
  int order = 1;            ///< 1 .. 36
  double amplitude_db = 0;  ///< 0 .. 30
  double phase_deg = 0;
};

/// A dip: depth_db at its centre, raised cosine, zero from width_deg / 2 either side.
struct Notch {
  double bearing_deg = 0;
  double width_deg = 40;  ///< whole width at its top, (0, 360]
  double depth_db = 6;    ///< 0 .. 40
};

/// A conducting mast parallel to the antenna (roundel/trial/mast_model.h).
struct Mast {
  double radius_mm = 25;    ///< > 0
  double spacing_mm = 275;  ///< between the axes, > radius_mm
  double bearing_deg = 0;   ///< from the antenna to the mast
};

/// What a thing does to gain by bearing. Several parts add in dB; their mean need not be zero.
struct AzimuthShape {
  std::vector<Harmonic> harmonics{};
  std::vector<Notch> notches{};
  std::vector<Mast> masts{};
};

enum class ElevationKind { flat, dipole, collinear };

/// Gain by elevation, dB below the peak.
///   dipole     20 log10(cos(pi/2 sin e) / cos e), half-wave (Balanis, Antenna Theory, 4.6; from
///              memory), not below -25 dB
///   collinear  dipoles stacked `elements` high: the dipole's times the uniform array factor
///              sin(N u) / (N sin u), u = pi spacing (sin e - sin tilt) (Balanis, 6.3; from
///              memory); nulls are filled at null_db
struct ElevationShape {
  ElevationKind kind = ElevationKind::dipole;
  int elements = 4;                   ///< 2 .. 16
  double spacing_wavelengths = 0.75;  ///< (0, 1)
  double tilt_deg = 0;                ///< electrical, upwards positive, [-20, 20]
  double null_db = -20;               ///< no null is deeper, below the dipole's peak, [-80, -5]
};

struct Antenna {
  std::string name{};
  double gain_db = 0;  ///< added on every bearing
  AzimuthShape azimuth{};
  ElevationShape elevation{};

  Antenna& gain(double db) { return gain_db = db, *this; }
  Antenna& harmonic(int order, double amplitude_db, double phase_deg) {
    azimuth.harmonics.push_back({order, amplitude_db, phase_deg});
    return *this;
  }
  Antenna& notch(double bearing_deg, double width_deg, double depth_db) {
    azimuth.notches.push_back({bearing_deg, width_deg, depth_db});
    return *this;
  }
  Antenna& mast(double radius_mm, double spacing_mm, double bearing_deg) {
    azimuth.masts.push_back({radius_mm, spacing_mm, bearing_deg});
    return *this;
  }
};

/// What holds the antenna; its pattern stays where it is when the antenna is turned, and so does
/// its lean: the antenna sees elevation e as e - lean_deg cos(bearing - lean_towards_deg), so that
/// its beam rises towards that bearing.
struct Mount {
  std::string name{};
  AzimuthShape azimuth{};
  double lean_deg = 0;  ///< of the antenna's axis off the vertical, [0, 10]
  double lean_towards_deg = 0;

  Mount& harmonic(int order, double amplitude_db, double phase_deg) {
    azimuth.harmonics.push_back({order, amplitude_db, phase_deg});
    return *this;
  }
  Mount& notch(double bearing_deg, double width_deg, double depth_db) {
    azimuth.notches.push_back({bearing_deg, width_deg, depth_db});
    return *this;
  }
  Mount& mast(double radius_mm, double spacing_mm, double bearing_deg) {
    azimuth.masts.push_back({radius_mm, spacing_mm, bearing_deg});
    return *this;
  }
};

/// What changes by the hour changes its gain: margins, and the levels shown with them.
struct Receiver {
  std::string name{};
  double offset_db = 0;           ///< sensitivity against the site's usual receiver
  double threshold_dbfs = -40;    ///< level at which half the messages decode, on its scale
  double level_noise_db = 0.5;    ///< of one level reading, standard deviation
  double compress_from_dbfs = 0;  ///< above it the scale shows half of each dB
  double full_scale_dbfs = 0;     ///< clipped there
  bool has_level = true;          ///< false: the feed carries no signal_dbfs
  /// Level at which half the messages decode, in place of reception.margin_db: an average aircraft
  /// at 200 km arrives at -82 dBm (54 dBm sent, 139 dB of free space at 1090 MHz, 3 dBi of antennas
  /// and feeder together).
  std::optional<double> sensitivity_dbm{};  ///< [-110, -60]
  double swing_db = 0;      ///< of sensitivity over the day, to either side (warmth), [0, 20]
  double swing_peak_h = 4;  ///< hour UTC at which it hears best
  /// Lost for each doubling of the traffic over its mean: gain is turned down. [0, 10]
  double gain_control_db = 0;
  /// Overload: a chance of logistic((deaf_above_db - margin) / 2 dB) on top. [0, 80]
  std::optional<double> deaf_above_db{};
  double burst_share = 0;  ///< of time in which noise takes burst_db from every margin
  double burst_s = 5;      ///< length of such a time, [0.1, 600]
  double burst_db = 15;    ///< [0, 60]
  /// > 0: the first position is known only after an even and an odd message so close together;
  /// it is lost again after 60 s of silence. Reports only. [0, 60]
  double pair_s = 0;
};

// --- The site --------------------------------------------------------------------------------

/// Hides what stands below elevation_deg on bearings from_deg clockwise to to_deg. The loss grows
/// as 20 log10(1 + exp(depth / soft_deg)): 6 dB at the edge.
struct Wall {
  double from_deg = 0, to_deg = 0;
  double elevation_deg = 4;  ///< (-1, 90)
  double soft_deg = 0.15;    ///< (0, 5]
  double start_h = 0;        ///< hours from the start of the scenario: a new obstacle when > 0
  std::optional<double> stop_h{};
};

/// Weakens everything on some bearings without hiding it: a tree, a wet roof.
struct Obstacle {
  double from_deg = 0, to_deg = 0;
  double loss_db = 3;  ///< [0, 40]
  double start_h = 0;
  std::optional<double> stop_h{};
};

/// Flat ground or water that reflects, on some bearings: a second ray, out of step with the first.
///   10 log10(1 + r^2 - 2 r cos(4 pi height sin e / wavelength))
///   r = coefficient exp(-2 (2 pi roughness sin e / wavelength)^2)
/// (two rays over a rough plane: ITU-R P.527, P.1546 and Ament's roughness factor; from memory).
struct Reflection {
  double from_deg = 0, to_deg = 0;
  double height_m = 12;      ///< of the antenna above what reflects, [0.1, 1000]
  double roughness_m = 0.2;  ///< standard deviation of its height, [0, 10]
  double coefficient = 0.9;  ///< of the smooth plane, [0, 0.99]
};

/// Shapes of the threshold, as the chance of decoding against x = margin / softness_db; half at 0.
///   logistic  1 / (1 + e^-x)
///   normal    Phi(x / 1.702), which is nearest to the logistic
///   skewed    2^(-e^-x): every one of many bits must survive; sharp below, slow above
///   tailed    0.8 logistic(x) + 0.2 logistic(x / 4): repaired or lucky messages from far below
enum class ThresholdKind { logistic, normal, skewed, tailed };

/// How levels become reports. For each squitter of an aircraft
///     margin = margin_db + flight power + aspect - 20 log10(slant / 200 km) + antenna + mount
///              + receiver offset - losses + slow shadowing + fading
///     chance = (1 - lost) * threshold(margin / softness_db)
///     lost = message_loss * traffic by hour * the hour's luck
///            * (1 + capture (1 - 2 logistic((margin - 8 dB) / 3 dB)))
/// Losses: the 4/3-Earth horizon (as a wall at elevation zero of the horizon ray, softness
/// horizon_soft_deg: 0.06 deg gives 1 dB per km beyond, the smooth-Earth diffraction rate of ITU-R
/// P.526 at 1090 MHz), walls and obstacles.
struct Reception {
  double margin_db = 7;      ///< of an average aircraft at 200 km above half decoding
  double softness_db = 1.2;  ///< (0, 6]
  ThresholdKind threshold = ThresholdKind::logistic;
  double message_loss = 0.12;       ///< overlapping messages at the mean traffic, [0, 0.9]
  double message_loss_spread = 0;   ///< of the hour's luck, standard deviation of its log, [0, 2]
  double capture = 0;               ///< how far strong messages survive an overlap, [0, 1]
  double power_sd_db = 2.5;         ///< between flights, besides their types, [0, 10]
  double fading_sd_db = 1.8;        ///< each squitter, each receiver its own, [0, 6]
  double shadow_sd_db = 1.0;        ///< slow, same for all receivers (the aircraft's attitude)
  double own_shadow_sd_db = 0.5;    ///< slow, each trial its own (reflections)
  double shadow_s = 60;             ///< correlation time of both, > 0
  double horizon_soft_deg = 0.06;   ///< (0, 2]
  double earth_factor = 4.0 / 3.0;  ///< [1, 10]
};

// --- Traffic ---------------------------------------------------------------------------------

/// Power and aspect of a class of aircraft. Aspect, with c the cosine of the angle between the
/// aircraft's heading and the bearing to the site: nose_db * c + side_db * (2 c^2 - 1)
/// + lobe_db * (4 c^3 - 3 c); in a turn belly_db more on the outer side, as much less inside.
struct AircraftType {
  std::string name{};
  double share = 1;  ///< relative to the other types of the same speed class
  double power_db = 0;
  double nose_db = 0.5, side_db = 0.5, lobe_db = 0.3, belly_db = 2;
  bool is_light = false;  ///< flies low and slow; the others do not
};

/// What airframes have whatever their type. Shares are chances of an airframe.
///   Two antennas: squitters go by turns to the lower and to the upper one (DO-260B, antenna
///   diversity; from memory), which from below is weaker by upper_loss_db at the horizon and by
///   upper_loss_db_per_deg more for each degree of elevation, upper_loss_most_db at most.
struct AircraftPlan {
  double two_antennas_share = 0;
  double upper_loss_db = 1;            ///< [0, 30]
  double upper_loss_db_per_deg = 0.4;  ///< [0, 10]
  double upper_loss_most_db = 6;       ///< [0, 40]
  double half_rate_share = 0;          ///< send every second position only
  double weak_share = 0;               ///< have a worn transponder or antenna
  double weak_db = 6;                  ///< their loss on average; exponential, [0, 40]
};

/// A great-circle corridor across the area, entered on one bearing and left on another.
struct Airway {
  double from_deg = 0, to_deg = 180;  ///< bearings, from the site, of its two ends
  double share = 1;                   ///< of the aircraft in the air
  double width_km = 8;                ///< standard deviation across
  double low_ft = 29000, high_ft = 41000;
  bool both_ways = true;
  std::string type{};  ///< only this aircraft type; empty: any
};

/// Arrivals descend at 3 degrees to an approach path along the runway; departures climb out.
struct Airport {
  double bearing_deg = 0, range_km = 60;
  double runway_deg = 80;  ///< direction of landing and take-off
  double elevation_ft = 300;
  double share = 1;
  double hold_share = 0.1;  ///< of arrivals, in a holding pattern before approach
};

/// Aircraft circling for hours.
struct Orbit {
  double bearing_deg = 0, range_km = 150;
  double radius_km = 12, altitude_ft = 18000, hours = 3;
  double share = 1;
};

/// A sector with nearly no traffic: flights that would touch it beyond 40 km are kept with
/// chance `keep`.
struct Empty {
  double from_deg = 0, to_deg = 0;
  double keep = 0.03;  ///< [0, 1]
};

/// Shares are relative, of the aircraft in the air. With no airway, airport or orbit given,
/// `airways_from_seed` corridors and one airport are drawn from the seed.
struct Traffic {
  double mean_aircraft = 40;    ///< in the air within radius_km, mean over the day
  double radius_km = 450;       ///< (50, 600]
  double crossing_share = 0.3;  ///< straight, anywhere, any direction
  double light_share = 0.08;    ///< low and slow, wandering
  int airways_from_seed = 6;
  double airways_share = 0.5;   ///< of those drawn from the seed, together
  double airport_share = 0.12;  ///< of the one drawn from the seed
  std::vector<Airway> airways{};
  std::vector<Airport> airports{};
  std::vector<Orbit> orbits{};
  std::vector<Empty> empties{};
  double night_factor = 0.3;  ///< traffic at the quietest hour over that at the busiest, (0, 1]
  double quiet_h = 2;         ///< the quietest hour, UTC
  int fleet = 0;  ///< > 0: flights are flown by so many airframes, which keep power and address
  /// Fly these instead: CSV with header time_s,address,latitude,longitude,altitude_ft (gzip
  /// allowed), times in seconds, the first whole hour being the start. Straight between
  /// positions, never across a gap over 300 s; what follows such a gap within 2000 s is flown by
  /// another aircraft, so that the gap does not look like silence. TOML: file = "..."; relative to
  /// the scenario.
  std::optional<std::filesystem::path> file{};
};

// --- What happens ----------------------------------------------------------------------------

/// An interval in which one antenna, on one mount at one rotation, was on one receiver. Trials of
/// one feed must not overlap; those of different feeds hear the same traffic.
struct TrialPlan {
  std::string feed = "roof";
  std::string antenna{}, receiver{}, mount{};  ///< empty: the first one
  double rotation_deg = 0;                     ///< of the antenna, clockwise
  double start_h = 0;
  std::optional<double> stop_h{};  ///< none: to the end
};

/// Sensitivity changes at a point in time (water in the connector, a new filter).
struct Step {
  double at_h = 0;
  double step_db = 0;
  std::string feed{};                 ///< empty: all
  double from_deg = 0, to_deg = 360;  ///< bearings concerned
};

/// Sensitivity changes steadily.
struct Drift {
  double from_h = 0;
  std::optional<double> to_h{};
  double db_per_day = 0;
  std::string feed{};  ///< empty: all
};

/// Hours in which the horizon hides little: losses beyond it are multiplied by loss_share.
struct Duct {
  double from_h = 0, to_h = 0;
  double loss_share = 0.15;           ///< [0, 1]
  double from_deg = 0, to_deg = 360;  ///< bearings concerned
};

/// Aircraft within a circle lose their satellites: they send no position, or a false one, circling
/// about a place. Reports only.
enum class InterferenceKind { silent, spoofed };
struct Interference {
  InterferenceKind kind = InterferenceKind::spoofed;
  double from_h = 0, to_h = 0;
  double bearing_deg = 0, range_km = 150;  ///< of the circle's middle
  double radius_km = 80;                   ///< [1, 600]
  double false_bearing_deg = 0, false_range_km = 60;
};

struct Outage {
  double from_h = 0, to_h = 0;
};

/// Positions that a network computed, of aircraft on some bearings, in place of messages that were
/// not heard here.
struct Network {
  double from_deg = 0, to_deg = 0;
  double gap_s = 5;  ///< between two of one aircraft, [0.5, 600]
};

/// A feed's clock is set.
struct ClockStep {
  double at_h = 0;
  double step_s = 0;  ///< forwards positive
};

/// What a feed does to what its receiver heard. Shares are chances per report.
struct FeedPlan {
  std::string name = "roof";
  bool throttled = false;         ///< at most one line per aircraft and clock second
  double repeat_share = 0;        ///< the last position printed again a little later
  double wild_share = 0;          ///< position off by degrees
  double ghost_share = 0;         ///< address with flipped bits
  double fold_share = 0;          ///< decoded against the receiver's position: wrong beyond 180 NM
  double out_of_order_share = 0;  ///< line printed up to 5 s late, its own time on it
  double no_altitude_share = 0;
  double clock_offset_s = 0;  ///< of the feed's clock
  double time_step_s = 0;     ///< times are cut to whole steps; 0: to 1 ms
  int position_decimals = 5;  ///< of a degree, 2 .. 5
  double jitter_m = 0;        ///< error of each position, east and north, standard deviation
  /// Positions are carried on along the track for so long after the last one heard: a line for each
  /// message that was not heard, and one more between each two. [0, 300]
  double extrapolate_s = 0;
  /// > 0: a document is read so often, with each aircraft's last position of at most 60 s, heard
  /// anew or not, and its age to 0.1 s. [0.5, 60]
  double poll_s = 0;
  std::vector<Network> networks{};
  std::vector<ClockStep> clock_steps{};
  std::vector<Outage> outages{};  ///< receiver off or restarting
};

struct Scenario {
  std::uint64_t seed = 1;       ///< 0 .. 2^63 - 1
  double start_s = 1772323200;  ///< Unix, a multiple of 10; 2026-03-01T00:00:00Z. TOML: start
  double hours = 24;            ///< > 0
  schema::SiteRow site{"Hill house", 52.1, 19.4, 110, 12, 100};
  Reception reception;
  AircraftPlan aircraft;
  Traffic traffic;
  std::vector<AircraftType> types{};  ///< empty: four usual ones
  std::vector<Antenna> antennas{};    ///< empty: one flat dipole named "antenna"
  std::vector<Mount> mounts{};        ///< empty: one without effect named "mount"
  std::vector<Receiver> receivers{};  ///< empty: one named "receiver"
  std::vector<Wall> walls{};
  std::vector<Obstacle> obstacles{};
  std::vector<Reflection> reflections{};
  std::vector<TrialPlan> trials{};  ///< empty: the first of each on feed "roof", all the time
  std::vector<Step> steps{};
  std::vector<Drift> drifts{};
  std::vector<Duct> ducts{};
  std::vector<Interference> interferences{};
  std::vector<FeedPlan> feeds{};  ///< feeds named by trials but not here are faultless

  /// The one of that name, added if missing. The reference holds until the next is added.
  Antenna& antenna(std::string_view name);
  Mount& mount(std::string_view name);
  Receiver& receiver(std::string_view name);
  FeedPlan& feed(std::string_view name);
  Scenario& wall(double from_deg, double to_deg, double elevation_deg) {
    walls.push_back({from_deg, to_deg, elevation_deg});
    return *this;
  }
  Scenario& trial(TrialPlan plan) {
    trials.push_back(std::move(plan));
    return *this;
  }
};

/// The scenario with every default written out (types, antennas, trials, feeds, drawn airways), so
/// that running it gives the same. Errc::bad_config names what does not fit together.
Result<Scenario> completed(const Scenario& scenario);

/// Reads a scenario file. Errors: not_found, bad_config with file:line.
Result<Scenario> load_scenario(const std::filesystem::path& file);
/// The same from text; `file` is used in messages and for relative paths. What the text does not
/// say stays as it is in `base`; tables that may stand several times are added to those of `base`.
Result<Scenario> parse_scenario(std::string_view toml, const std::filesystem::path& file,
                                Scenario base = {});

}  // namespace roundel::simulate
