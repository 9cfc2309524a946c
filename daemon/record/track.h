// Whether a fix can be this aircraft: judged against where it was before.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <span>

#include "roundel/record/recorder.h"
#include "roundel/site/path.h"

namespace roundel::record {

/// A report that has passed every check but that of its aircraft's track.
struct Fix {
  double time_s{};
  site::Place place;
  double altitude_ft{};
  double signal_dbfs{};
  bool has_signal = false;
  schema::Id trial{};
};

/// The believed fixes of one aircraft, and those in doubt.
///
/// A fix that the aircraft can have reached from its last believed one is believed. After 30 s of
/// silence, and for a new aircraft, fixes are held until two agree, so that neither the first fix
/// nor one wild one decides which the wild ones are. Three that agree among themselves, but not
/// with the track, are a new track (the old one was wrong, or two aircraft share an address).
class Track {
 public:
  static constexpr std::size_t max_held = 4;

  enum class Verdict {
    believe,
    believe_held,  ///< and all held that agree() with it; the others are wrong
    new_track,     ///< likewise, but it is not the track of before
    hold,          ///< make room with take_oldest() first when is_full()
    folded,
  };

  /// @param is_unambiguous  no other zone of decoding would put the fix within the horizon
  Verdict judge(const Fix& fix, const Rules& rules, bool is_unambiguous) noexcept;
  /// Adds to the held. Precondition: not is_full().
  void hold(const Fix& fix) noexcept;
  /// Where the aircraft was, from stored cells: known to some seconds only.
  void resume(const site::Place& place, double time_s) noexcept;

  bool is_full() const noexcept { return n_held_ == max_held; }
  std::span<const Fix> held() const noexcept { return {held_.data(), n_held_}; }
  /// Whether held()[i] agrees with the fix last judged, believe_held or new_track.
  bool agrees(std::size_t i) const noexcept { return (agreeing_ >> i & 1U) != 0; }
  void clear_held() noexcept { n_held_ = 0; }
  Fix take_oldest() noexcept;
  /// No further fix has come to decide. Believes the one held fix that the track can have reached
  /// (without a track: the only one), which agrees() then; none where there are several.
  void settle(const Rules& rules) noexcept;
  bool has_known() const noexcept { return has_known_; }
  double known_time_s() const noexcept { return known_time_s_; }

 private:
  bool is_reachable(const Fix& fix, const Rules& rules) const noexcept;
  double reach_km(double seconds, const Rules& rules) const noexcept;
  void know(const Fix& fix, bool is_unambiguous) noexcept;

  site::Place known_;
  double known_time_s_{};
  double known_slack_s_{};  // how well known_time_s_ is known
  bool has_known_ = false;
  bool is_anchored_ = false;  // some fix of the track can't have been folded
  std::uint8_t agreeing_{};
  std::size_t n_held_{};
  std::array<Fix, max_held> held_{};
};

}  // namespace roundel::record
