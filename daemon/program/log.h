// Log lines go to standard error, one each, with the time.
#pragma once
#include "daemon/log.h"

namespace roundel::program {

/// Thread-safe.
Log make_log();

}  // namespace roundel::program
