// HOST:PORT as text.
#pragma once
#include <string_view>

#include "roundel/config/config.h"

namespace roundel::config {

/// "host:port", "127.0.0.1:port" or "[::1]:port"; port 1 to 65535. The error's `what` is a clause
/// ("port 0 is outside 1 to 65535"), its `where` empty.
Result<Endpoint> parse_connect(std::string_view text);

/// "http://HOST[:PORT][/PATH]", as a feed's `get`; port 80 where there is none.
Result<PolledSource> parse_get(std::string_view text);

/// ":port" (loopback), "localhost:port", or a numeric address; port 0 (any free one) to 65535.
/// A name is refused: what it stands for may be reachable from outside without anyone having
/// written so.
Result<Endpoint> parse_listen(std::string_view text);

}  // namespace roundel::config
