// The feed of tests that need one and do not care which.
#pragma once
#include "roundel/config/config.h"

namespace roundel::record {

inline config::Feed roof_feed() {
  config::Feed feed;
  feed.name = "roof";
  feed.antenna = "collinear";
  feed.receiver = "rx1";
  feed.mount = "gable";
  return feed;
}

}  // namespace roundel::record
