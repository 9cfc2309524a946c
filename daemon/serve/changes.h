// What the page may change, for the bearer of the token: trials and notes.
#pragma once
#include <string_view>

#include "daemon/serve/answer.h"
#include "roundel/result.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// {"feed", "antenna", "receiver", "mount", "rotation_deg", "at", "note"}, all optional: what is
/// left out stays as in the feed's last trial, "feed" where there is only one, "at" is now.
/// 201 and the trial as stored. Errc: malformed, bad_usage, not_found, out_of_range.
Result<Answer> start_trial(std::string_view body, schema::Store& store, double now_s);

/// {"feed", "at"}, as above. 200 and the trial as stored.
Result<Answer> stop_trial(std::string_view body, schema::Store& store, double now_s);

/// {"text", "at", "trial"}; without a trial it is of the one that runs, if there is just one.
/// 201 and the note as stored.
Result<Answer> add_note(std::string_view body, schema::Store& store, double now_s);

}  // namespace roundel::serve
