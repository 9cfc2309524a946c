// Which trial a feed's reports belong to, and what to do where there is none.
#pragma once
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "roundel/schema/rows.h"

namespace roundel::record {

/// What is on a feed.
struct Equipment {
  std::string antenna, receiver, mount;
  double rotation_deg{};
};

/// "collinear on gable at 0 deg, receiver rx1"
std::string words(const Equipment& equipment);
Equipment equipment_of(const schema::Trial& trial);
/// The same things, the antenna turned alike to 0.05 deg.
bool is_same(const Equipment& a, const Equipment& b);

// Notes of trials that nobody started by command: they say who may change them without being asked.
inline constexpr std::string_view note_configuration = "from the configuration";
inline constexpr std::string_view note_file = "loaded from a file";

/// What to do when a report comes at a time.
struct TrialChoice {
  enum class Kind {
    use,        ///< `trial` is right
    use_other,  ///< `trial` has other equipment than wanted, but was started by command: it counts
    start,      ///< start a trial at the time, to end at `stop_s`
    extend,     ///< let `trial` begin at the time
    reopen,     ///< let `trial` end at `stop_s`
    conflict,   ///< `trial` says that something else was mounted (files only)
  };
  Kind kind;
  std::optional<schema::Trial> trial;
  std::optional<std::int64_t> stop_s;  ///< where the next trial starts, if there is one
};

/// @param trials         of the feed, by start, without overlap
/// @param recorded_to_s  end of what has been recorded of the feed
/// @param is_file        the reports come from a file, with equipment that was stated for it
///
/// A trial of the same equipment at most a day away, with no other between, is made longer. A
/// trial that nobody started by command gives way to other equipment where nothing of it has been
/// recorded yet.
TrialChoice choose_trial(std::span<const schema::Trial> trials, const Equipment& wanted,
                         std::int64_t time_s, std::int64_t recorded_to_s, bool is_file);

}  // namespace roundel::record
