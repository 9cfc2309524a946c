// A snapshot of the recording side as JSON: the data of a live event.
#pragma once
#include <string>
#include <string_view>

#include "roundel/serve/live.h"

namespace roundel::serve {

/// One line. Members as in Live; what is not known yet is null.
std::string live_json(const Live& live);

/// "connecting", "connected", "stalled", "listening", "stopped".
std::string_view state_name(FeedState state);

/// Whether a person would see a difference: everything but the time of the snapshot itself.
bool is_same_but_for_now(const Live& a, const Live& b);

}  // namespace roundel::serve
