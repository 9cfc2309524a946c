// Where the log lines of roundeld go.
#pragma once
#include "daemon/log.h"

namespace roundel::program {

/// Lines on standard error, with UTC time and level; or, where that is systemd's journal, which
/// keeps the time itself, with its priority mark (sd-daemon(3)).
Log standard_log();

}  // namespace roundel::program
