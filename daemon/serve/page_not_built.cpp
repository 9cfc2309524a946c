// Stands in for the page where it was not built, and says so.
#include <array>

#include "roundel/serve/assets.h"

namespace roundel::serve {

std::span<const Asset> assets() {
  static constexpr std::array files{Asset{
      .path = "/",
      .content_type = "text/html; charset=utf-8",
      .bytes =
          "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Roundel</title>"
          "</head>\n<body><h1>Roundel</h1>\n<p>This roundeld was built without its page "
          "(ROUNDEL_WEB=OFF). It records, and its API answers: <a href=\"/api/status\">status</a>, "
          "<a href=\"/api/openapi.json\">description</a>.</p></body></html>\n",
      .etag = "\"page-not-built-1\"",
      .gzip = false,
  }};
  return files;
}

}  // namespace roundel::serve
