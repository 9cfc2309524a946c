// The page's files, embedded in the program. Built from web/ by the target `roundel_web`; where the
// page was not built (ROUNDEL_WEB=OFF), daemon/serve provides one file that says so.
#pragma once
#include <span>
#include <string_view>

namespace roundel::serve {

/// One file of the page. Everything lives as long as the program.
struct Asset {
  std::string_view path;  ///< as asked for: "/" is the page itself, else "/name.js" and so on
  std::string_view content_type;  ///< with charset where it is text: "text/html; charset=utf-8"
  std::string_view bytes;
  std::string_view etag;  ///< of the content before compression, in its quotes: "\"3f2a...\""
  bool gzip;              ///< bytes are compressed (RFC 1952); served plain where not accepted
};

/// All files, each path once. One of them is "/".
std::span<const Asset> assets();

}  // namespace roundel::serve
