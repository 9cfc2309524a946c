// From where an aircraft is to the chance that its messages get through.
//
// Tables by bearing hold what is in force from update() until next_change_s(): whoever walks
// through time calls update() at the start of each stretch and does not walk past its end.
#pragma once
#include <array>
#include <string>
#include <vector>

#include "analysis/simulate/plane.h"
#include "analysis/simulate/random.h"
#include "analysis/simulate/shape.h"
#include "analysis/simulate/traffic.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

/// Quarter-degree slots of bearing.
inline constexpr int slots = AzimuthGain::size;
inline std::size_t slot_of(double bearing_deg) {
  const int slot = static_cast<int>(bearing_deg * AzimuthGain::per_degree);
  return static_cast<std::size_t>(slot < slots ? slot : slots - 1);
}

/// Start of the first whole window at or after an hour of the scenario: when a change takes hold.
double change_s(const Scenario& scenario, double hour);

/// What is the same for every antenna on the site.
class Surroundings {
 public:
  Surroundings(const Scenario& scenario, const Plane& plane);

  void update(double time_s);
  /// A multiple of 10 s; a whole hour at the latest.
  double next_change_s(double time_s) const;

  /// Power, aspect and spreading less losses, dB against margin zero, without shadowing.
  double common_db(const Track& track, const Flying& flying, const Sight& sight) const;
  /// Share of messages not lost to others, whatever their level.
  double clear_share() const { return clear_share_; }
  /// Highest wall on a bearing, degrees; none: below -90.
  double wall_deg(double bearing_deg) const { return walls_[slot_of(bearing_deg)].elevation_deg; }

 private:
  struct Edge {
    double elevation_deg = -1000, soft_deg = 1;
  };
  const Scenario& scenario_;
  double horizon_deg_;
  double clear_share_ = 1;
  std::array<Edge, slots> walls_{};
  std::array<double, slots> obstacle_db_{}, beyond_share_{};
  std::vector<double> changes_s_;
};

/// One trial: what its antenna, mount and receiver add.
class Station {
 public:
  static Result<Station> make(const Scenario& scenario, std::size_t trial);

  void update(double time_s);
  double gain_db(const Sight& sight) const {
    return azimuth_.at(sight.bearing_deg) + elevation_.at(sight.elevation_deg) +
           change_db_[slot_of(sight.bearing_deg)];
  }
  /// Level as the receiver shows it. @param margin_db with fading
  double shown_dbfs(double margin_db, double noise_db) const;

  const TrialPlan& plan() const { return *plan_; }
  const Receiver& receiver() const { return *receiver_; }
  const AzimuthGain& antenna() const { return antenna_; }  ///< unturned
  const AzimuthGain& mount() const { return mount_; }
  const AzimuthGain& azimuth() const { return azimuth_; }  ///< turned, with the mount's
  double fixed_db() const { return fixed_db_; }            ///< antenna's gain, receiver's offset
  double start_s() const { return start_s_; }
  double stop_s() const { return stop_s_; }

 private:
  const Scenario* scenario_{};
  const TrialPlan* plan_{};
  const Receiver* receiver_{};
  AzimuthGain antenna_, mount_, azimuth_;
  ElevationGain elevation_;
  double fixed_db_{}, start_s_{}, stop_s_{};
  std::array<double, slots> change_db_{};  // fixed_db_, steps and drifts
};

/// Slow shadowing: an autoregressive series, one value a window.
class Shadow {
 public:
  Shadow(double sd_db, double time_constant_s, Random random);
  /// Value of the next window.
  double next_db();

 private:
  double sd_db_, keep_, fresh_;
  double value_ = 0;
  bool has_value_ = false;
  Random random_;
};

/// Chance of decoding against margin, averaged over fading, and what fading is like in messages
/// that were decoded.
class ChanceTable {
 public:
  ChanceTable(double softness_db, double fading_sd_db);
  struct Chance {
    double share{};                           ///< decoded of those not lost to others
    double fading_mean_db{}, fading_sd_db{};  ///< of decoded messages
  };
  Chance at(double margin_db) const;

 private:
  std::vector<Chance> rows_;
};

}  // namespace roundel::simulate
