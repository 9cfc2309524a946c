#include "daemon/record/trial_choice.h"

#include <fmt/format.h>

#include <cmath>

namespace roundel::record {
namespace {

constexpr std::int64_t longest_gap_s = 86400;

bool covers(const schema::Trial& trial, std::int64_t time_s) {
  return trial.start_s <= time_s && (!trial.stop_s || time_s < *trial.stop_s);
}

bool was_commanded(const schema::Trial& trial) {
  return trial.note != note_configuration && trial.note != note_file;
}

}  // namespace

std::string words(const Equipment& equipment) {
  return fmt::format("{} on {} at {:g} deg, receiver {}", equipment.antenna, equipment.mount,
                     equipment.rotation_deg, equipment.receiver);
}

Equipment equipment_of(const schema::Trial& trial) {
  return {trial.antenna, trial.receiver, trial.mount, trial.rotation_deg};
}

bool is_same(const Equipment& a, const Equipment& b) {
  return a.antenna == b.antenna && a.receiver == b.receiver && a.mount == b.mount &&
         std::abs(std::remainder(a.rotation_deg - b.rotation_deg, 360.0)) < 0.05;
}

TrialChoice choose_trial(std::span<const schema::Trial> trials, const Equipment& wanted,
                         std::int64_t time_s, std::int64_t recorded_to_s, bool is_file) {
  using Kind = TrialChoice::Kind;
  const schema::Trial *before = nullptr, *after = nullptr;
  for (const schema::Trial& trial : trials) {
    if (covers(trial, time_s)) {
      if (is_same(equipment_of(trial), wanted)) return {Kind::use, trial, {}};
      const bool gives_way = !trial.stop_s && !was_commanded(trial) && time_s > trial.start_s &&
                             time_s >= recorded_to_s;
      if (gives_way) return {Kind::start, {}, {}};
      return {is_file ? Kind::conflict : Kind::use_other, trial, {}};
    }
    if (trial.start_s <= time_s) before = &trial;
    if (trial.start_s > time_s && !after) after = &trial;
  }
  std::optional<std::int64_t> stop_s;
  if (after) stop_s = after->start_s;
  // A trial from the configuration ends by command only: that it ended was meant.
  if (before && time_s - *before->stop_s <= longest_gap_s && before->note == note_file &&
      is_same(equipment_of(*before), wanted))
    return {Kind::reopen, *before, stop_s};
  if (after && after->start_s - time_s <= longest_gap_s && is_same(equipment_of(*after), wanted))
    return {Kind::extend, *after, {}};
  return {Kind::start, {}, stop_s};
}

}  // namespace roundel::record
