// Telling what was mounted when: starting and stopping trials, keeping remarks. The same rules for
// the command line and for the page; nothing here writes, so that a caller can say first what a
// change will do.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::trial {

/// What a person said. Names and texts that were not said are empty.
struct Change {
  std::string feed;  ///< may be left out where there is only one
  std::string antenna, receiver, mount;
  std::optional<double> rotation_deg;  ///< clockwise, [0, 360)
  std::string at;                      ///< a time (see parse_time); empty: now
  std::string text;                    ///< the trial's note, or the remark
  std::optional<schema::Id> trial;     ///< that a remark is about; none: the one of that time
};

/// Errors name in `where` the member of Change that is wrong: "feed", "at", "antenna" ...

/// The feed that is meant. Errc::not_found, or bad_usage where several could be.
Result<schema::Named> choose_feed(const schema::Store& store, std::string_view asked);

/// The time that is meant, whole seconds. Now is on the feed's own clock, for trials are in feed
/// time: a recording that is being replayed has a clock of its own.
/// @param now_s  the computer's clock  @param feed  none: the computer's clock is meant
Result<std::int64_t> choose_time(const schema::Store& store, std::string_view asked, double now_s,
                                 std::optional<schema::Id> feed);

/// The trial to start (without id): what was not said stays as in the feed's last trial.
Result<schema::Trial> trial_to_start(const schema::Store& store, const Change& change,
                                     double now_s);

struct Stop {
  std::string feed;
  std::int64_t at_s{};
};
/// For Store::stop_trial().
Result<Stop> trial_to_stop(const schema::Store& store, const Change& change, double now_s);

/// The remark to keep (without id). Where no trial is named it is about the trial of that moment,
/// if there is just one.
Result<schema::Note> note_to_add(const schema::Store& store, const Change& change, double now_s);

}  // namespace roundel::trial
