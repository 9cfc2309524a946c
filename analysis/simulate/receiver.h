// What a receiver does besides having a threshold.
#pragma once
#include <cmath>
#include <cstdint>

#include "analysis/simulate/random.h"
#include "roundel/simulate/scenario.h"

namespace roundel::simulate {

/// Change of sensitivity in an hour, dB.
/// @param traffic  of that hour over its mean
inline double hourly_change_db(const Receiver& receiver, double time_s, double traffic) {
  double db = 0;
  if (receiver.swing_db > 0) {
    const double hour = std::fmod(time_s, 86400) / 3600;
    db += receiver.swing_db * sin_cos(2 * pi * (hour - receiver.swing_peak_h) / 24).cos;
  }
  if (receiver.gain_control_db > 0) db -= receiver.gain_control_db * log_of(traffic) / ln2;
  return db;
}

/// Share of messages that overload does not spoil.
inline double not_deafened(const Receiver& receiver, double margin_db) {
  return receiver.deaf_above_db ? logistic((*receiver.deaf_above_db - margin_db) / 2) : 1;
}

/// What noise takes from every margin at this time, dB: stretches of burst_s are noisy or quiet.
inline double burst_loss_db(const Receiver& receiver, std::uint64_t seed, double time_s) {
  if (receiver.burst_share == 0) return 0;
  const auto stretch = static_cast<std::uint64_t>(time_s / receiver.burst_s);
  return Random(seed, Purpose::burst, stretch).chance(receiver.burst_share) ? receiver.burst_db : 0;
}

/// Whether an aircraft's position can be decoded: after an even and an odd message within pair_s
/// (compact position reporting, global decoding), and as long as one is heard every 60 s.
class PairMemory {
 public:
  bool knows(const Receiver& receiver, double time_s, bool is_odd) {
    if (receiver.pair_s == 0) return true;
    constexpr double forgotten_s = 60;
    last_s_[is_odd] = time_s;
    const bool is_pair = time_s - last_s_[!is_odd] <= receiver.pair_s;
    if (!is_pair && time_s - known_s_ > forgotten_s) return false;
    known_s_ = time_s;
    return true;
  }

 private:
  static constexpr double long_ago_s = -1e9;
  double last_s_[2]{long_ago_s, long_ago_s}, known_s_ = long_ago_s;
};

}  // namespace roundel::simulate
