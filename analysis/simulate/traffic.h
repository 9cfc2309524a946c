// Who flies, where and when: flights as legs on the plane, whatever hears them.
#pragma once
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "analysis/simulate/plane.h"
#include "analysis/simulate/random.h"
#include "roundel/result.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

struct Waypoint {
  double time_s{};
  Place place;
  double altitude_ft{};
  double bank{};  ///< on the leg that begins here: 1 in a right turn, -1 in a left turn
};

/// One aircraft from where it enters to where it leaves; straight between at least two waypoints.
struct Track {
  std::uint64_t serial{};  ///< counts flights; keys the flight's own draws
  std::uint32_t address{};
  std::size_t type{};  ///< index into Scenario::types
  double power_db{};   ///< with its type's
  bool has_two_antennas = false, is_half_rate = false;
  std::vector<Waypoint> way;

  double first_s() const { return way.front().time_s; }
  double last_s() const { return way.back().time_s; }
};

/// Where an aircraft is and which way it flies.
struct Flying {
  Place place;
  double altitude_ft{};
  double heading_x{}, heading_y{};  ///< unit vector
  double bank{};
};

/// Follows one track; times asked for must not go back by more than a leg's search is worth.
class Flyer {
 public:
  /// @param time_s within the track
  Flying at(const Track& track, double time_s);

 private:
  std::size_t leg_ = 0;
  double heading_x_{}, heading_y_{};
  bool has_heading_ = false;
};

/// Traffic of the hour that begins at time_s, over its mean over the day.
double hourly_factor(const Traffic& traffic, double time_s);

/// Gives out flights in order of their start. The same flights whatever the scenario's hours.
class TrafficSource {
 public:
  /// @param scenario completed; both outlive the source. Errors: those of the traffic file.
  static Result<std::unique_ptr<TrafficSource>> make(const Scenario& scenario, const Plane& plane);
  virtual ~TrafficSource() = default;
  /// Appends the flights that start before time_s and were not given out yet.
  virtual void starting_before(double time_s, std::vector<Track>& out) = 0;
};

/// From the file that traffic.file names.
Result<std::unique_ptr<TrafficSource>> file_traffic(const Scenario& scenario, const Plane& plane);

/// The n-th address: every 24-bit address but 000000 and ffffff, in a mixed order, before any comes
/// again.
std::uint32_t nth_address(std::uint64_t seed, std::uint64_t n);

/// Own draws of a flight or airframe: type, power, antennas, rate.
void give_character(const Scenario& scenario, std::uint64_t key, bool is_light,
                    const std::string& type, Track& track);

}  // namespace roundel::simulate
