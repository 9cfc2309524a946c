// The API's description, daemon/serve/openapi.json, embedded at build time.
#pragma once
#include <string_view>

namespace roundel::serve {

extern const std::string_view openapi;

}  // namespace roundel::serve
