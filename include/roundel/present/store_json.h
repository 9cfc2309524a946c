// What is stored, as JSON: printed by `roundel status --json` and `roundel trial ... --json`,
// served under /api/status and /api/trials. Each a whole text ended by a line feed; keys are
// stable.
#pragma once
#include <string>

#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::present {

/// {"reports": {"received", "stored", "repeats", "rejected": {REASON: count}}, "feeds": [{"name",
/// "reports": {as above}, "since", "recorded_s", "clock": {"feed_time", "arrival", "offset_s"} or
/// null, "position_step_deg", "crowded_share" (null: not known), "warnings", "trial": the running
/// one's id or null}], "cells", "silent_cells", "flights", "aircraft", "from", "to", "bytes"}.
/// Times are RFC 3339 UTC, null where there is no cell or no coverage.
Result<std::string> status_json(const schema::Store& store);

/// {"trials": [{"id", "feed", "antenna", "receiver", "mount", "rotation_deg", "start", "stop" or
/// null, "note"}], "notes": [{"id", "time", "trial" or null, "text"}]}, both by time. The selection
/// restricts trials, and notes to its time and to those of no trial or a selected one.
Result<std::string> trials_json(const schema::Store& store, const schema::Selection& which);

/// One of each, as within trials_json().
std::string trial_json(const schema::Trial& trial);
std::string note_json(const schema::Note& note);

}  // namespace roundel::present
