// Which failures of the store are worth waiting for.
#pragma once
#include "roundel/result.h"

namespace roundel::record {

/// Whether an error may pass by itself: another process holds the file, a full disk is cleared.
constexpr bool may_pass(Errc code) {
  return code == Errc::busy || code == Errc::disk_full || code == Errc::io;
}

}  // namespace roundel::record
