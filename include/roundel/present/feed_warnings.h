// What is wrong with a feed's lines or clock, in sentences: each says what, and what to do.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "roundel/schema/rows.h"

namespace roundel::present {

/// Empty: nothing is known to be wrong.
std::vector<std::string> feed_warnings(const std::optional<schema::FeedTraits>& traits,
                                       const std::optional<schema::FeedClock>& clock,
                                       const schema::Tally& tally);

}  // namespace roundel::present
