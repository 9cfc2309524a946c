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
#include "analysis/simulate/threshold.h"
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
  /// Share of messages not lost to others.
  double clear_share(double margin_db) const {
    return 1 - lost_at(lost_share_, scenario_.reception.capture, margin_db);
  }
  /// Highest wall on a bearing, degrees; none: below -90.
  double wall_deg(double bearing_deg) const { return walls_[slot_of(bearing_deg)].elevation_deg; }

 private:
  struct Edge {
    double elevation_deg = -1000, soft_deg = 1;
  };
  const Scenario& scenario_;
  double horizon_deg_;
  double lost_share_ = 0;
  std::array<Edge, slots> walls_{};
  std::array<double, slots> obstacle_db_{}, beyond_share_{};
  std::array<const Reflection*, slots> reflections_{};
  std::vector<double> changes_s_;
};

/// One trial: what its antenna, mount and receiver add.
class Station {
 public:
  static Result<Station> make(const Scenario& scenario, std::size_t trial);

  void update(double time_s);
  double gain_db(const Sight& sight) const {
    return azimuth_.at(sight.bearing_deg) +
           elevation_db(sight.elevation_deg, sight.sin_bearing, sight.cos_bearing) +
           change_db_[slot_of(sight.bearing_deg)];
  }
  /// What the antenna, leaning as it does, makes of elevation on a bearing.
  double elevation_db(double elevation_deg, double sin_bearing, double cos_bearing) const {
    return elevation_.at(elevation_deg - lean_east_deg_ * sin_bearing -
                         lean_north_deg_ * cos_bearing);
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
  double lean_east_deg_{}, lean_north_deg_{};
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
  explicit ChanceTable(const Reception& reception);
  struct Chance {
    double share{};                           ///< decoded
    double fading_mean_db{}, fading_sd_db{};  ///< of decoded messages
  };
  /// With what is lost to other messages.
  Chance at(double margin_db, const Surroundings& surroundings) const {
    Chance chance = at(margin_db);
    chance.share *= surroundings.clear_share(margin_db);
    return chance;
  }

 private:
  Chance at(double margin_db) const;  // of messages that are not lost to others
  std::vector<Chance> rows_;
};

}  // namespace roundel::simulate
