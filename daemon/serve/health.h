// /health: is this still recording, and if not, why.
#pragma once
#include "daemon/serve/answer.h"
#include "roundel/serve/live.h"

namespace roundel::serve {

/// 200 while everything configured is being recorded, else 503. The body names each reason by a
/// code for machines and a sentence for people:
///   feed_unreachable  no connection for more than a minute
///   feed_stalled      connected, and silent for longer than the feed's configuration allows
///   feed_stopped      not being read
///   store_failing     the database does not take what is recorded
///   store_late        reports come, and nothing was written for two minutes
Answer health(const Live& live);

}  // namespace roundel::serve
